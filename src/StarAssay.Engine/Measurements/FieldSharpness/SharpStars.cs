using System.Numerics;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>The stars of a frame that serve, in the units of the fits: z from the middle over half the diagonal.</summary>
internal sealed class SharpStars
{
    private const StarMarks Unfit = StarMarks.Saturated | StarMarks.Edge | StarMarks.Blended | StarMarks.CosmicRay | StarMarks.NotAStar | StarMarks.BadPixels
        | StarMarks.NoShape;

    private const int Least = 12;
    private const double LeastSnr = 12;

    private SharpStars(FieldSharpnessRequest request, int[] rows)
    {
        Rows = rows;
        var area = new SensorArea(request.Width, request.Height);
        Place = [.. rows.Select(i => new Complex(area.U(request.X[i]), area.V(request.Y[i])))];
        HfrUm = [.. rows.Select(i => request.Hfr[i] * request.PitchUm)];
        HfrRelative = [.. rows.Select(i => request.HfrUncertainty[i] / request.Hfr[i])];
        FwhmUm = [.. rows.Select(i => request.Fwhm[i] * request.PitchUm)];
        FwhmRelative = [.. rows.Select(i => request.FwhmUncertainty[i] / request.Fwhm[i])];

        // The table has the parts along the line to the middle; here they are turned to the frame's axes.
        Shape = [.. rows.Select((i, k) => new Complex(request.RadialEllipticity[i], request.CrossEllipticity[i])
            * Complex.FromPolarCoordinates(1, 2 * Place[k].Phase))];
        Moments = [.. Shape.Select(ToMoments)];
        ShapeError = [.. rows.Select(i => request.EllipticityUncertainty[i])];
    }

    /// <summary>Rows of the star table.</summary>
    public int[] Rows { get; }

    /// <summary>Where they stand.</summary>
    public Complex[] Place { get; }

    /// <summary>Half-flux radius, um.</summary>
    public double[] HfrUm { get; }

    /// <summary>Its relative standard uncertainty.</summary>
    public double[] HfrRelative { get; }

    /// <summary>FWHM, um; NaN where no profile was fitted.</summary>
    public double[] FwhmUm { get; }

    /// <summary>Its relative standard uncertainty.</summary>
    public double[] FwhmRelative { get; }

    /// <summary>Lengthening: 1 - b/a with the angle doubled.</summary>
    public Complex[] Shape { get; }

    /// <summary>The same as (a^2 - b^2) / (a^2 + b^2), which adds up with squared widths.</summary>
    public Complex[] Moments { get; }

    /// <summary>Standard uncertainty of either component.</summary>
    public double[] ShapeError { get; }

    /// <summary>(a^2 - b^2) / (a^2 + b^2) as 1 - b/a, the direction kept.</summary>
    public static Complex FromMoments(Complex moments)
    {
        double e = Math.Min(moments.Magnitude, 0.995);
        return e > 0 ? moments * ((1 - Math.Sqrt((1 - e) / (1 + e))) / moments.Magnitude) : moments;
    }

    /// <summary>Picks the stars that are whole, alone, unclipped and bright enough.</summary>
    public static SharpStars Of(FieldSharpnessRequest request)
    {
        int[] rows = [.. Enumerable.Range(0, request.X.Length).Where(i => ((StarMarks)(int)request.Flags[i] & Unfit) == 0 && request.Snr[i] > LeastSnr
            && request.Hfr[i] > 0 && request.HfrUncertainty[i] > 0 && double.IsFinite(request.RadialEllipticity[i] + request.CrossEllipticity[i]
            + request.EllipticityUncertainty[i] + request.HfrUncertainty[i]))];
        int profiles = rows.Count(i => request.Fwhm[i] > 0 && double.IsFinite(request.FwhmUncertainty[i]));
        if (rows.Length < Least || profiles < Least)
        {
            throw new CannotMeasureException("field-sharpness.too-few-stars",
                $"{Math.Min(rows.Length, profiles)} of {request.X.Length} stars are whole, alone, unclipped and bright enough; {Least} are needed to say " +
                    "anything about the field. Expose longer, take a richer field, or less time where stars are clipped. " +
                    "Stars below 1.5 pixels of FWHM have no shape.");
        }

        return new SharpStars(request, rows);
    }

    /// <summary>Third moment of each; NaN without a frame.</summary>
    public Complex[] Skew(FieldSharpnessRequest request, ParallelOptions parallel)
    {
        var skew = new Complex[Rows.Length];
        Array.Fill(skew, new Complex(double.NaN, double.NaN));
        if (request.Frame is { } frame)
        {
            var reader = new FrameReader(frame);
            Parallel.For(0, Rows.Length, parallel, k =>
            {
                int i = Rows[k];
                skew[k] = Lopsidedness.Of(reader, request.X[i], request.Y[i], request.Hfr[i], request.Sky[i]);
            });
        }

        return skew;
    }

    private static Complex ToMoments(Complex shape)
    {
        double e = shape.Magnitude, q = 1 - Math.Min(e, 0.95);
        return e > 0 ? shape * ((1 - (q * q)) / (1 + (q * q)) / e) : shape;
    }
}
