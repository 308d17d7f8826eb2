using System.Numerics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>What each frame's stars say together: their width, and the lengthening that all share.</summary>
internal sealed class NightFrames
{
    /// <summary>Fewer clean stars than this have no median worth the name.</summary>
    public const int LeastStars = 4;

    /// <summary>Stars narrower than this, in pixels, follow the pixels as much as the light.</summary>
    public const double Sampled = 2.0;

    // Lengthening from which on frames count as trailed, if it is so many uncertainties beside that of the night (common practice, no source).
    private const double Trail = 0.08, Told = 4;

    private const double LeastSnr = 15;
    private const StarMarks Unfit = StarMarks.Saturated | StarMarks.Edge | StarMarks.Blended | StarMarks.CosmicRay | StarMarks.NotAStar
        | StarMarks.BadPixels | StarMarks.NoShape;

    private NightFrames(int n)
    {
        Stars = new int[n];
        Fwhm = new double[n];
        FwhmError = new double[n];
        Shape = new Complex[n];
        ShapeError = new double[n];
        Round = new double[n];
        RoundError = new double[n];
        Trailed = new bool[n];
    }

    /// <summary>Clean stars of each.</summary>
    public int[] Stars { get; }

    /// <summary>Median FWHM, arcsec; NaN from too few stars.</summary>
    public double[] Fwhm { get; }

    /// <summary>Its standard uncertainty by the stars' scatter.</summary>
    public double[] FwhmError { get; }

    /// <summary>Lengthening that the stars share, 1 - b/a with the angle doubled.</summary>
    public Complex[] Shape { get; }

    /// <summary>Standard uncertainty of either component.</summary>
    public double[] ShapeError { get; }

    /// <summary>The night's lengthening, the median of the frames.</summary>
    public Complex Steady { get; private set; }

    /// <summary>FWHM across the direction in which the frame's stars are drawn out beside those of the night, arcsec.</summary>
    public double[] Round { get; }

    /// <summary>Its standard uncertainty.</summary>
    public double[] RoundError { get; }

    /// <summary>Which are drawn out otherwise than the night.</summary>
    public bool[] Trailed { get; }

    /// <summary>Frames with a width.</summary>
    public int[] Usable { get; private set; } = [];

    /// <summary>Reads the star tables.</summary>
    public static NightFrames Of(NightConditionsRequest request)
    {
        int n = request.Stars.Count, from = 0;
        var frames = new NightFrames(n);
        for (int f = 0; f < n; f++)
        {
            int[] rows = [.. Enumerable.Range(from, request.Stars[f]).Where(i => ((StarMarks)(int)request.Flags[i] & Unfit) == 0
                && request.Snr[i] > LeastSnr && request.ProfileFwhm[i] > 0 && request.SigmaMajor[i] > 0
                && double.IsFinite(request.SigmaMinor[i] + request.EllipticityUncertainty[i] + request.PositionAngleDeg[i]))];
            from += request.Stars[f];
            frames.Stars[f] = rows.Length;
            (frames.Fwhm[f], frames.FwhmError[f], frames.ShapeError[f], frames.Round[f]) = (double.NaN, double.NaN, double.NaN, double.NaN);
            if (rows.Length < LeastStars)
            {
                continue;
            }

            Measured width = ZoneTable.Median(request.ProfileFwhm, rows, "pix");
            Measured Part(Func<double, double> of) => ZoneTable.Median([.. rows.Select(i =>
                (1 - (request.SigmaMinor[i] / request.SigmaMajor[i])) * of(request.PositionAngleDeg[i] * Math.PI / 90))],
                [.. Enumerable.Range(0, rows.Length)], string.Empty);
            (Measured x, Measured xy) = (Part(Math.Cos), Part(Math.Sin));
            frames.Fwhm[f] = width.Value * request.PixelScaleArcsecPerPx;
            frames.FwhmError[f] = Math.Max(width.Uncertainty * request.PixelScaleArcsecPerPx, 1e-4 * frames.Fwhm[f]);
            frames.Shape[f] = new Complex(x.Value, xy.Value);

            // The scatter of a few stars may be small by chance.
            double own = 1.2533 * Math.Sqrt(rows.Average(i => request.EllipticityUncertainty[i] * request.EllipticityUncertainty[i]) / rows.Length);
            frames.ShapeError[f] = Math.Max(own, Math.Sqrt(((x.Uncertainty * x.Uncertainty) + (xy.Uncertainty * xy.Uncertainty)) / 2));
        }

        frames.Usable = [.. Enumerable.Range(0, n).Where(f => frames.Fwhm[f] > 0)];
        frames.Part();
        return frames;
    }

    /// <summary>Tells what a frame's stars are drawn out by beside the night from their width.</summary>
    private void Part()
    {
        Steady = new Complex(Numerics.Robust.Median(Usable.Select(f => Shape[f].Real)), Numerics.Robust.Median(Usable.Select(f => Shape[f].Imaginary)));
        foreach (int f in Usable)
        {
            double beside = (Shape[f] - Steady).Magnitude, sigma = ShapeError[f];
            Trailed[f] = beside > Trail && beside > Told * sigma;

            // A trail widens along its own direction only: the other axis is as the air left it.
            double drawn = beside > 2 * sigma ? Math.Min(0.9, Math.Sqrt((beside * beside) - (sigma * sigma))) : 0;
            Round[f] = Fwhm[f] * Math.Sqrt(1 - drawn);
            RoundError[f] = Round[f] * double.Hypot(FwhmError[f] / Fwhm[f], drawn > 0 ? sigma / (2 * (1 - drawn)) : 0);
        }
    }
}
