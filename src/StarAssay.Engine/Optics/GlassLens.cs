using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>Thin lenses in contact: what two or three glasses alone do to the focus of each color.</summary>
/// <remarks>Kingslake, "Lens Design Fundamentals"; Conrady, "Applied Optics and Optical Design" (thin achromat).
/// Thickness, air gaps and spherochromatism are left out, so a real lens of these glasses differs by some ten percent.</remarks>
public sealed class GlassLens
{
    private readonly Glass[] glasses;
    private readonly double[] powers;

    private GlassLens(Glass[] glasses, double[] powers)
    {
        this.glasses = glasses;
        this.powers = powers;
    }

    /// <summary>Glass of each element.</summary>
    public IReadOnlyList<Glass> Glasses => glasses;

    /// <summary>Power of each element at d as a share of the whole; they add up to 1.</summary>
    public IReadOnlyList<double> Powers => powers;

    /// <summary>A single lens.</summary>
    public static GlassLens Singlet(Glass glass) => new([glass], [1]);

    /// <summary>Two glasses with two wavelengths united: pa Da + pb Db = 0, pa + pb = 1, D = (n1 - n2) / (nd - 1).</summary>
    /// <exception cref="InputException">When the two dispersions are too alike for finite powers.</exception>
    public static GlassLens Doublet(Glass a, Glass b, double firstNm = SpectralLine.F, double secondNm = SpectralLine.C)
    {
        double da = Dispersion(a, firstNm, secondNm);
        double db = Dispersion(b, firstNm, secondNm);
        if (Math.Abs(da - db) < 0.02 * Math.Max(Math.Abs(da), Math.Abs(db)))
        {
            throw new InputException("glass.alike", $"{a.Name} and {b.Name} disperse almost alike; no doublet of sensible curves comes of them. Pair a " +
                "crown with a flint.", "glasses");
        }

        double pa = db / (db - da);
        return new GlassLens([a, b], [pa, 1 - pa]);
    }

    /// <summary>Three glasses with three wavelengths united.</summary>
    /// <exception cref="InputException">When their partial dispersions lie on one line, so that powers run away.</exception>
    public static GlassLens Triplet(Glass a, Glass b, Glass c, double firstNm = SpectralLine.F, double secondNm = SpectralLine.C,
        double thirdNm = SpectralLine.G)
    {
        // p_a (A_b - ...) by Cramer's rule for: sum p = 1, sum p D12 = 0, sum p D13 = 0.
        double a1 = Dispersion(a, firstNm, secondNm), b1 = Dispersion(b, firstNm, secondNm), c1 = Dispersion(c, firstNm, secondNm);
        double a2 = Dispersion(a, firstNm, thirdNm), b2 = Dispersion(b, firstNm, thirdNm), c2 = Dispersion(c, firstNm, thirdNm);
        double pa = (b1 * c2) - (c1 * b2);
        double pb = (c1 * a2) - (a1 * c2);
        double pc = (a1 * b2) - (b1 * a2);
        double sum = pa + pb + pc;
        double largest = Math.Max(Math.Abs(pa), Math.Max(Math.Abs(pb), Math.Abs(pc)));
        if (!(Math.Abs(sum) > largest / 30))
        {
            throw new InputException("glass.alike",
                $"{a.Name}, {b.Name} and {c.Name} cannot unite three wavelengths with sensible curves (an element would need more than 30 times the power " +
                    "of the lens). Choose a glass with another partial dispersion.", "glasses");
        }

        return new GlassLens([a, b, c], [pa / sum, pb / sum, pc / sum]);
    }

    /// <summary>Elements with given powers (normalized to a sum of 1).</summary>
    public static GlassLens Of(IReadOnlyList<Glass> glasses, IReadOnlyList<double> powers)
    {
        double sum = powers.Sum();
        if (glasses.Count == 0 || glasses.Count != powers.Count || !(Math.Abs(sum) > 1e-9))
        {
            throw new InputException("glass.powers", "One power for each glass is needed, and they must not add up to zero.", "powers");
        }

        return new GlassLens([.. glasses], [.. powers.Select(p => p / sum)]);
    }

    /// <summary>Focal length at a wavelength as a share of that at d.</summary>
    public double RelativeFocalLength(double wavelengthNm)
    {
        double power = 0;
        for (int i = 0; i < glasses.Length; i++)
        {
            power += powers[i] * (glasses[i].Index(wavelengthNm) - 1) / (glasses[i].Index(SpectralLine.D) - 1);
        }

        return 1 / power;
    }

    /// <summary>Focus position against that of the reference wavelength, in um; positive = farther from the lens.</summary>
    public double FocusShiftUm(double wavelengthNm, double focalLengthMm, double referenceNm = SpectralLine.D) =>
        1000 * focalLengthMm * ((RelativeFocalLength(wavelengthNm) / RelativeFocalLength(referenceNm)) - 1);

    private static double Dispersion(Glass glass, double firstNm, double secondNm) =>
        (glass.Index(firstNm) - glass.Index(secondNm)) / (glass.Index(SpectralLine.D) - 1);
}
