using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.EdgeContrast;

/// <summary>The edge's transfer function with its uncertainty, and what pixel, air and a perfect aperture have beside it.</summary>
internal sealed class EdgeAnalysis
{
    // Mean radius of the Moon as seen, arcsec (31.1 arcmin across), and how far the law of its brightness may be off, as a phase (common practice,
    // no source).
    private const double MoonArcsec = 932.6, PhaseUnsure = 8;

    private readonly double[] widths, optics50, recorded50;
    private readonly double widthCommon;

    private EdgeAnalysis(EdgeContrastRequest request, EdgeFinding finding, EdgeStrip strip, EdgeSpread[] groups, double width, CancellationToken cancel)
    {
        Spread = EdgeSpread.Of(groups);
        Func<double, double>[] shapes = Shapes(request, finding, strip);
        double tail = double.IsNaN(request.ApertureMm) ? 0
            : 2 / (Math.Pow(Math.PI, 3) * (1 - request.Obstruction)) * request.WavelengthNm / 1000 * request.FocalLengthMm / request.ApertureMm
                / request.PitchUm;
        Whole = EdgeTransfer.Of(Spread, width, shapes[0], tail);
        int n = EdgeTransfer.Points;
        var without = new EdgeTransfer[groups.Length];
        for (int g = 0; g < groups.Length; g++)
        {
            cancel.ThrowIfCancellationRequested();
            without[g] = EdgeTransfer.Of(EdgeSpread.Of(groups, g), width, shapes[0], tail);
        }

        EdgeTransfer[] others = [.. shapes.Skip(1).Select(s => EdgeTransfer.Of(Spread, width, s, tail))];
        StepUnsure = Doubt([.. others.Select(t => (t.Step0 / Whole.Step0) - 1)]);
        double scale = PixelScale.ArcsecPerPx(request.PitchUm, request.FocalLengthMm);
        (Pixel, Air, Perfect) = (new double[n], new double[n], new double[n]);
        double[] airUncertainty = new double[n];
        for (int k = 0; k < n; k++)
        {
            double v = EdgeTransfer.Frequencies[k];
            Pixel[k] = PixelAt(finding, strip, v);
            (Air[k], airUncertainty[k]) = AirAt(request, v / scale);
            Perfect[k] = double.IsNaN(request.ApertureMm) ? double.NaN
                : Airy.Mtf(v / scale * Seeing.ArcsecPerRadian * request.WavelengthNm * 1e-6 / request.ApertureMm, request.Obstruction);
        }

        (Mtf, MtfUncertainty, Optics, OpticsUncertainty) = (new double[n], new double[n], new double[n], new double[n]);
        for (int k = 0; k < n; k++)
        {
            double random = Scatter([.. without.Select(t => t.Mtf[k])]), value = Whole.Mtf[k];

            // A modulus is lifted by its noise.
            Mtf[k] = k == 0 ? 1 : Math.Sqrt(Math.Max(0, (value * value) - (random * random)));
            double common = Doubt([.. others.Select(t => t.Mtf[k] - value)]);
            MtfUncertainty[k] = k == 0 ? 0 : EdgeContrastMeasurement.WithFloor(Math.Sqrt((random * random) + (common * common)), value, width: false);
            double taken = Pixel[k] * Air[k];
            bool serves = EdgeContrastMeasurement.Serves(taken);
            Optics[k] = serves ? Mtf[k] / taken : double.NaN;
            OpticsUncertainty[k] = serves
                ? Math.Sqrt(Math.Pow(MtfUncertainty[k] / taken, 2) + Math.Pow(Optics[k] * airUncertainty[k] / Air[k], 2)) : double.NaN;
        }

        widths = [.. without.Select(t => t.Width)];
        widthCommon = Doubt([.. others.Select(t => t.Width - Whole.Width)]);
        double[] taken50 = [.. Enumerable.Range(0, n).Select(k => Pixel[k] * Air[k])];
        double[] Take(double[] mtf) => [.. mtf.Select((m, k) => EdgeContrastMeasurement.Serves(taken50[k]) ? m / taken50[k] : double.NaN)];
        optics50 = [.. without.Select(t => EdgeTransfer.Falls(Take(t.Mtf), 0.5))];
        recorded50 = [.. without.Select(t => EdgeTransfer.Falls(t.Mtf, 0.5))];
    }

    /// <summary>The edge spread.</summary>
    public EdgeSpread Spread { get; }

    /// <summary>Its transform.</summary>
    public EdgeTransfer Whole { get; }

    /// <summary>How much of the bright side's light at the edge rests on the profile taken for it, a share.</summary>
    public double StepUnsure { get; }

    /// <summary>MTF as recorded.</summary>
    public double[] Mtf { get; }

    /// <summary>Its standard uncertainty.</summary>
    public double[] MtfUncertainty { get; }

    /// <summary>The pixel's own.</summary>
    public double[] Pixel { get; }

    /// <summary>The air's as given.</summary>
    public double[] Air { get; }

    /// <summary>A perfect aperture's.</summary>
    public double[] Perfect { get; }

    /// <summary>MTF with pixel and air taken out.</summary>
    public double[] Optics { get; }

    /// <summary>Its standard uncertainty.</summary>
    public double[] OpticsUncertainty { get; }

    /// <summary>Random part of the width's uncertainty, pixels.</summary>
    public double WidthRandom => Scatter(widths);

    /// <summary>Random part of that of the frequency of half contrast, cycles a pixel.</summary>
    public double OpticsFallsRandom => Scatter(optics50);

    /// <summary>Analyses the strip.</summary>
    public static EdgeAnalysis Of(EdgeContrastRequest request, EdgeFinding finding, EdgeStrip strip, double width, int groups, CancellationToken cancel)
    {
        // Laid over each other the pieces still have to be put where the edge is: only there is the surface's profile read right.
        Func<double, double> shape = Shapes(request, finding, strip)[0];
        for (int turn = 0; turn < 4; turn++)
        {
            EdgeSpread spread = EdgeSpread.Of(EdgeSpread.Groups(strip, strip.Reach, groups));
            strip.Move(EdgeTransfer.Offset(spread, width, shape));
        }

        return new(request, finding, strip, EdgeSpread.Groups(strip, strip.Reach, groups), width, cancel);
    }

    /// <summary>Width from 10 to 90 %, in a unit of which a pixel has so many.</summary>
    public Measured Width(double perPixel)
    {
        double random = Math.Sqrt(Math.Pow(WidthRandom, 2) + (widthCommon * widthCommon));
        return new Measured(Whole.Width * perPixel, EdgeContrastMeasurement.WithFloor(random, Whole.Width, width: true) * perPixel, "um");
    }

    /// <summary>MTF as recorded at a frequency, cycles a pixel.</summary>
    public Measured MtfAt(double frequency)
    {
        int k = (int)Math.Round(frequency / EdgeTransfer.Frequencies[1]);
        return new Measured(Mtf[k], MtfUncertainty[k], "");
    }

    /// <summary>Where the MTF of optics falls to a half, in a unit of which a cycle a pixel has so many.</summary>
    public Measured OpticsFalls(double perCycle) => Falls(Optics, OpticsUncertainty, optics50, perCycle);

    /// <summary>Where the MTF as recorded falls to a half.</summary>
    public Measured RecordedFalls(double perCycle) => Falls(Mtf, MtfUncertainty, recorded50, perCycle);

    private static Measured Falls(double[] curve, double[] bars, double[] without, double perCycle)
    {
        double at = EdgeTransfer.Falls(curve, 0.5);
        if (double.IsNaN(at))
        {
            return Measured.None("1 / mm");
        }

        // What moves the curve up or down moves the frequency by its slope; the random part is seen directly.
        int k = Math.Max(1, (int)(at / EdgeTransfer.Frequencies[1]));
        double slope = (curve[Math.Min(k + 1, curve.Length - 1)] - curve[k - 1]) / (2 * EdgeTransfer.Frequencies[1]);
        double bySlope = Math.Abs(bars[k] / slope);
        return new Measured(at * perCycle, Math.Max(Math.Max(bySlope, Scatter(without)), 1e-3 * at) * perCycle, "1 / mm");
    }

    // Leaving out each part of the edge in turn (jackknife).
    private static double Scatter(double[] each)
    {
        double[] known = [.. each.Where(double.IsFinite)];
        double n = known.Length, mean = n > 0 ? known.Average() : 0;
        return n < 2 ? double.NaN : Math.Sqrt((n - 1) / n * known.Sum(v => Math.Pow(v - mean, 2)));
    }

    // Half of how far other profiles of the surface lead.
    private static double Doubt(double[] differences) => differences.Length == 0 ? 0 : differences.Max(Math.Abs) / 2;

    // The likeliest profile of the surface first, then how far it may be off.
    private static Func<double, double>[] Shapes(EdgeContrastRequest request, EdgeFinding finding, EdgeStrip strip)
    {
        if (request.Subject != EdgeSubject.Moon)
        {
            return [_ => 1];
        }

        // A short arc does not tell the Moon's radius; its mean one of 932.6 arcsec is right to 9 %.
        double seen = finding.Arc.Radius, turned = strip.Length * strip.Pieces / seen;
        double radius = turned > 0.1 ? seen : MoonArcsec / PixelScale.ArcsecPerPx(request.PitchUm, request.FocalLengthMm);
        double phase = request.PhaseAngleDeg;
        double[] phases = double.IsFinite(phase) ? [phase, Math.Max(0, phase - PhaseUnsure), phase + PhaseUnsure] : [20, 0, 60];
        return [.. phases.Select(p => (Func<double, double>)(d => LimbProfile.Moon(d, radius, p)))];
    }

    // The box of a pixel seen along the normal, averaged over the edge's directions.
    private static double PixelAt(EdgeFinding finding, EdgeStrip strip, double v)
    {
        double Box(double f) => Math.Abs(f) < 1e-12 ? 1 : Math.Sin(Math.PI * f) / (Math.PI * f);
        double sum = 0;
        int count = 0;
        for (int k = 0; k < strip.Pieces; k++)
        {
            if (strip.Good[k])
            {
                (double s, double c) = Math.SinCos(finding.Arc.NormalAt(strip.Middle(k)));
                sum += Math.Abs(Box(v * c) * Box(v * s));
                count++;
            }
        }

        return sum / count;
    }

    private static (double Value, double Uncertainty) AirAt(EdgeContrastRequest request, double cyclesPerArcsec)
    {
        if (double.IsNaN(request.SeeingArcsec))
        {
            return (1, 0);
        }

        double bar = double.IsNaN(request.SeeingUncertaintyArcsec) ? 0.1 * request.SeeingArcsec : request.SeeingUncertaintyArcsec;
        double Of(double fwhm) => Seeing.Mtf(cyclesPerArcsec * Seeing.ArcsecPerRadian * request.WavelengthNm * 1e-9,
            Seeing.R0FromFwhm(Math.Max(0.01, fwhm), request.WavelengthNm));
        return (Of(request.SeeingArcsec), Math.Abs(Of(request.SeeingArcsec + bar) - Of(request.SeeingArcsec - bar)) / 2);
    }
}
