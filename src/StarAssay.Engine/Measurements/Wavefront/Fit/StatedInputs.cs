using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>What is stated with an uncertainty and no unknown of the fit, and what a change of each does to the images.</summary>
/// <remarks>
/// Scale and wavelength change the images together only: a wave of all wavelengths and a sensor of all pixels larger by one share, with a wavefront
/// larger by the same share, draw the same images. So only the scale's change is drawn; the wavelength's is its opposite, and the wavefront's share.
/// </remarks>
internal sealed class StatedInputs
{
    /// <summary>What each of those is called that a fit may move.</summary>
    public const string Scale = "image scale (focal length, aperture, pitch)";
    public const string Light = "wavelength";
    public const string Hole = "central obstruction";

    // Step of the scale where it is known exactly and the wavelength is not.
    private const double LeastStep = 0.001;

    private readonly List<(string Source, string Input, double InSteps, int Change, bool Wavelength, double Moved)> inputs = [];

    private StatedInputs()
    {
    }

    /// <summary>The changes that are drawn.</summary>
    public BesideChanges Changes { get; } = new();

    /// <summary>Each input: what it is, its uncertainty in words, that uncertainty in steps of a drawn change, which change, whether it is the
    /// wavelength, and how many uncertainties the model stands away from the stated value.</summary>
    public IReadOnlyList<(string Source, string Input, double InSteps, int Change, bool Wavelength, double Moved)> All => inputs;

    /// <summary>Standard uncertainty of the wavelength, a share.</summary>
    public double Wavelength { get; private init; }

    /// <summary>All inputs of a fit at its present state.</summary>
    public static StatedInputs Of(WavefrontRequest request, InputOffsets offsets, JointFit fit)
    {
        KnownTo known = request.KnownTo;
        var stated = new StatedInputs { Wavelength = known.Wavelength };
        double step = Math.Max(known.Scale, LeastStep);
        if (known.Scale > 0 || known.Wavelength > 0)
        {
            stated.Changes.Add(fit, o => o with { PitchUm = o.PitchUm * (1 + step) });
            stated.Take(known.Scale, Scale, Percent(known.Scale), known.Scale / step, false, offsets.Scale);
            stated.Take(known.Wavelength, Light, Percent(known.Wavelength), -known.Wavelength / step, true, offsets.Wavelength);
        }

        if (known.VaneWidth > 0 && request.Pupil.Vanes.Count > 0)
        {
            stated.Changes.Add(fit, o => o with
            {
                Shape = o.Shape with
                {
                    Vanes = [.. o.Shape.Vanes.Select(v => v with { WidthFraction = Math.Min(0.24, v.WidthFraction * (1 + known.VaneWidth)) })],
                },
            });
            stated.Take(known.VaneWidth, "width of the vanes", Percent(known.VaneWidth), 1, false, 0);
        }

        if (known.Band > 0 && request.WavelengthsNm.Length > 1)
        {
            stated.Changes.Add(fit, o => o with { Weights = Tilted(o, known.Band) });
            stated.Take(known.Band, "shares of the light in the band", $"{Percent(known.Band)} from end to middle", 1, false, 0);
        }

        if (known.Obstruction > 0 && request.Pupil.Obstruction > 0)
        {
            stated.Changes.Add(fit, new InputOffsets(0, 0, known.Obstruction).On);
            stated.Take(known.Obstruction, Hole, $"{Percent(known.Obstruction)} of the ratio", 1, false, offsets.Obstruction);
        }

        if (known.Linearity > 0)
        {
            stated.Changes.Add([.. fit.Models.Select((_, p) => Enumerable.Range(0, 2).Select(k => Bent(fit, p, k, known.Linearity)).ToArray())]);
            stated.Take(known.Linearity, "linearity of the camera", $"{Percent(known.Linearity)} at the brightest pixel", 1, false, 0);
        }

        return stated;
    }

    private static string Percent(double share) => $"{100 * share:G2} %";

    private void Take(double known, string source, string input, double inSteps, bool wavelength, double offset)
    {
        if (known > 0)
        {
            inputs.Add((source, input, inSteps, Changes.Count - 1, wavelength, offset / known));
        }
    }

    // What a bent response adds at each pixel: the share at the brightest one, less where there is less light.
    private static float[] Bent(JointFit fit, int p, int k, double share)
    {
        float[] light = fit.ModelElectrons(p, k);
        double brightest = Math.Max(1, light.Max());
        return [.. light.Select(v => (float)(share * v * v / brightest))];
    }

    // Shares that rise from one end of the band to the other.
    private static double[] Tilted(PairOptics o, double by)
    {
        double middle = o.MeanWavelengthNm;
        double reach = Math.Max(o.WavelengthsNm.Max(l => Math.Abs(l - middle)), 1e-9);
        double[] tilted = [.. o.Weights.Select((w, l) => w * (1 + (by * (o.WavelengthsNm[l] - middle) / reach)))];
        double sum = tilted.Sum();
        return [.. tilted.Select(w => w / sum)];
    }
}
