using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>Modes that the fit of a star begins from: those of stars already fitted, coma by its law over the field.</summary>
/// <remarks>
/// Without a corrector coma grows to a wave within the sensor. From the middle's coma, or from none, some stars there end beside the right
/// minimum, and the finer modes that all stars share with them.
/// </remarks>
internal sealed class StartModes
{
    /// <summary>Noll 8 and 7 among the modes.</summary>
    public const int ComaX = 3, ComaY = 2;

    // Fewest stars for the law; chi squared over that of the better stars from which a fit is not believed.
    private const int LawFrom = 4;
    private const double Believed = 1.5;

    // Standard deviations and nm from which a star is far off the law.
    private const double FarSigma = 5, FarNm = 3;

    private readonly SensorArea area;
    private readonly double[] modes;
    private readonly FieldLaw? law;

    private StartModes(SensorArea area, double[] modes, FieldLaw? law) => (this.area, this.modes, this.law) = (area, modes, law);

    /// <summary>From fitted stars.</summary>
    /// <param name="request">Sensor.</param>
    /// <param name="stars">Places.</param>
    /// <param name="fits">Wavefronts.</param>
    /// <param name="known">Modes that were fitted; the others are zero.</param>
    public static StartModes Of(WavefrontFieldRequest request, PairStar[] stars, StarWavefront[] fits, int known)
    {
        // A quarter of the stars is right, or nothing is.
        double good = fits.Select(f => f.ChiSquared).Order().ElementAt(fits.Length / 4);
        int[] kept = [.. Enumerable.Range(0, fits.Length).Where(i => fits[i].ChiSquared <= Believed * good)];
        double[] modes = [.. Enumerable.Range(0, fits[0].CoefficientNm.Length)
            .Select(j => j < known ? Robust.Median(kept.Select(i => fits[i].CoefficientNm[j])) : 0)];
        var area = new SensorArea(request.Frames[0].Width, request.Frames[0].Height);
        return new StartModes(area, modes, LawOf(area, [.. kept.Select(i => stars[i])], [.. kept.Select(i => fits[i])]));
    }

    /// <summary>The same modes with the coma of more stars.</summary>
    public StartModes WithComaOf(WavefrontFieldRequest request, PairStar[] stars, StarWavefront[] fits) =>
        new(area, modes, Of(request, stars, fits, 0).law);

    /// <summary>Modes of a star, Noll 5 upwards.</summary>
    public double[] At(PairStar star)
    {
        double[] found = [.. modes];
        (found[ComaX], found[ComaY]) = ComaAt(star);
        return found;
    }

    /// <summary>Modes after the first ones, which all stars share.</summary>
    public double[] Finer(int first) => modes[first..];

    /// <summary>Whether a star lies far off the law.</summary>
    public bool IsFar(PairStar star, StarWavefront fit)
    {
        (double x, double y) = ComaAt(star);
        bool Off(double value, double variance) =>
            !(Math.Abs(value) < Math.Max(FarNm, FarSigma * Math.Sqrt(variance + ((law?.Scatter ?? 0) * (law?.Scatter ?? 0)))));
        return law is not null && (Off(fit.CoefficientNm[ComaX] - x, fit.Variance[ComaX]) || Off(fit.CoefficientNm[ComaY] - y, fit.Variance[ComaY]));
    }

    private static FieldLaw? LawOf(SensorArea area, PairStar[] stars, StarWavefront[] fits)
    {
        StarValue[] said = [.. fits.Select((f, i) => new StarValue([f.CoefficientNm[ComaX], f.CoefficientNm[ComaY]],
                [f.Variance[ComaX], f.Variance[ComaY]], FieldTerms.Coma(area.U(stars[i].X.Average()), area.V(stars[i].Y.Average()))))
            .Where(v => v.Variance.All(double.IsFinite))];
        return said.Length < LawFrom ? null : FieldLaw.Of(said);
    }

    private (double X, double Y) ComaAt(PairStar star)
    {
        if (law is null)
        {
            return (modes[ComaX], modes[ComaY]);
        }

        double[] coma = FieldTerms.At(FieldTerms.Coma(area.U(star.X.Average()), area.V(star.Y.Average())), law.Values);
        return (coma[0], coma[1]);
    }
}
