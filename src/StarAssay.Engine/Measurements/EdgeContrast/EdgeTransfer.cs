using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using Complex = System.Numerics.Complex;

namespace StarAssay.Engine.Measurements.EdgeContrast;

/// <summary>From an edge spread to the transfer function: differentiated, windowed, transformed, and corrected for bins, derivative and the surface's own
/// profile.</summary>
/// <remarks>
/// In the sense of ISO 12233: quarter-pixel bins, derivative [-1/2 0 1/2] with its correction x / sin x, x = 2 pi v / 4. In place of the Hamming window one
/// that is flat over the line spread and falls off by a cosine: wings are kept. A surface O(d) that is not even inside the edge gives the
/// derivative's transform the factor T(v), the windowed transform of O' with its step, which is divided out. O is fitted to
/// E(s) + E(-s): what a symmetric line spread does to the edge, wings included, cancels there. Beyond the window an aperture's line spread falls as a / s^2,
/// whatever its aberrations, with the slope of its MTF at zero: a = 2 wavelength N / (pi^3 (1 - obstruction)) (from the perfect MTF's slope, -4 / (pi (1 -
/// obstruction)) of the cutoff). That part is added.
/// </remarks>
internal sealed class EdgeTransfer
{
    /// <summary>Frequencies that are told: steps of a eightieth cycle a pixel, up to one.</summary>
    public const int Points = 81;

    private const double Step = 0.0125, Flat = 0.6;
    private const int Fine = 2;

    private readonly double[] window;
    private readonly EdgeSpread spread;
    private readonly Func<double, double> shape;
    private readonly double tail;
    private double[] changes = [];

    private EdgeTransfer(EdgeSpread spread, Func<double, double> shape, double tail)
    {
        (this.spread, this.shape, this.tail) = (spread, shape, tail);
        window = [.. Enumerable.Range(0, spread.Value.Length).Select(i => Window(spread.At(i) / spread.Reach))];
        Line = new double[spread.Value.Length];
    }

    /// <summary>Frequencies, cycles a pixel.</summary>
    public static double[] Frequencies { get; } = [.. Enumerable.Range(0, Points).Select(k => k * Step)];

    /// <summary>MTF at <see cref="Frequencies"/>.</summary>
    public double[] Mtf { get; private set; } = [];

    /// <summary>Line spread at the bins, per pixel, of a step of 1.</summary>
    public double[] Line { get; }

    /// <summary>Brightness of the surface at its edge.</summary>
    public double Step0 { get; private set; }

    /// <summary>Slope of the surface's brightness inward, a share a pixel.</summary>
    public double Slope { get; private set; }

    /// <summary>Width from 10 to 90 % of the corrected edge, pixels.</summary>
    public double Width { get; private set; }

    /// <summary>Transforms an edge spread.</summary>
    /// <param name="spread">The edge spread.</param>
    /// <param name="width">Its usual width, pixels: nearer the edge the surface's profile is not read.</param>
    /// <param name="shape">Brightness of the surface by depth over that at the edge, beside a slope.</param>
    /// <param name="tail">The line spread far out is this over the square of the distance; 0: not known.</param>
    public static EdgeTransfer Of(EdgeSpread spread, double width, Func<double, double> shape, double tail)
    {
        var found = new EdgeTransfer(spread, shape, tail);
        found.Surface(width);
        found.Transform();
        return found;
    }

    /// <summary>How far towards the dark the edge lies from zero: where the half of the line spread that is outside has passed its light.</summary>
    /// <param name="spread">The edge spread.</param>
    /// <param name="width">Its usual width, pixels.</param>
    /// <param name="shape">Brightness of the surface by depth.</param>
    public static double Offset(EdgeSpread spread, double width, Func<double, double> shape)
    {
        var found = new EdgeTransfer(spread, shape, 0);
        found.Surface(width);
        double[] line = found.DarkLine();
        double expected = 0, mass = 2 * line.Sum();
        for (int k = 0; k < line.Length; k++)
        {
            expected += line[k] * found.SurfaceAt((k + 0.5) * EdgeStrip.Bin) / mass;
        }

        (double value, double slope) = spread.At(0.0);
        return slope < 0 ? Math.Clamp((value - expected) / -slope, -1, 1) : 0;
    }

    /// <summary>Brightness of the surface at a depth inside the edge, as fitted.</summary>
    public double SurfaceAt(double depth) => depth < 0 ? 0 : Step0 * shape(depth) * (1 + (Slope * depth));

    /// <summary>Frequency at which a curve falls to a level; NaN when it does not below one cycle a pixel.</summary>
    public static double Falls(double[] curve, double level)
    {
        for (int k = 1; k < curve.Length; k++)
        {
            if (curve[k] <= level && curve[k - 1] > level)
            {
                return Step * (k - 1 + ((curve[k - 1] - level) / (curve[k - 1] - curve[k])));
            }
        }

        return double.NaN;
    }

    private static Complex Wave(double angle)
    {
        (double sine, double cosine) = Math.SinCos(angle);
        return new Complex(cosine, sine);
    }

    private static double Window(double share)
    {
        double a = Math.Abs(share);
        return a <= Flat ? 1 : a >= 1 ? 0 : 0.5 * (1 + Math.Cos(Math.PI * (a - Flat) / (1 - Flat)));
    }

    private void Surface(double width)
    {
        int n = spread.Value.Length;
        var normal = Matrix<double>.Build.Dense(2, 2);
        var side = Vector<double>.Build.Dense(2);
        double from = Math.Min(2 + (2 * width), 0.5 * spread.Reach), to = 0.95 * spread.Reach;
        double[] even = Folded(shape), sloped = Folded(d => d * shape(d));
        int[] used = [.. Enumerable.Range(n / 2, n / 2).Where(i => spread.At(i) >= from && spread.At(i) <= to)];
        foreach (int i in used)
        {
            double[] row = [even[i - (n / 2)], sloped[i - (n / 2)]];
            for (int a = 0; a < 2; a++)
            {
                side[a] += row[a] * (spread.Value[i] + spread.Value[n - 1 - i]);
                for (int b = 0; b < 2; b++)
                {
                    normal[a, b] += row[a] * row[b];
                }
            }
        }

        Vector<double> found = PositiveDefinite.Inverse(normal) is { } inverse ? inverse * side : Vector<double>.Build.DenseOfArray([1, 0]);
        (Step0, Slope) = (found[0], found[1] / found[0]);
    }

    // What E(s) + E(-s) becomes of a surface, by the line spread of the dark half laid to both sides: there the surface has hardly a part in it.
    private double[] Folded(Func<double, double> surface)
    {
        int n = spread.Value.Length, half = n / 2;
        double[] line = DarkLine();
        double mass = 2 * line.Sum(), bin = EdgeStrip.Bin;
        double[] depth = [.. Enumerable.Range(0, 2 * n).Select(k => surface((k + 0.5) * bin))], folded = new double[half];
        for (int i = 0; i < half; i++)
        {
            // Distances from the edge are (i + 1/2) bins, those of the line spread the same to either side: sums and differences are whole bins.
            double sum = 0;
            for (int k = 0; k < half; k++)
            {
                double light = Between(depth, i + k + 1) + Between(depth, i - k) + Between(depth, k - i);
                sum += line[k] * light;
            }

            folded[i] = sum / mass;
        }

        return folded;
    }

    // The line spread from the edge towards the dark, times two bins.
    private double[] DarkLine()
    {
        int n = spread.Value.Length, half = n / 2;
        double[] line = new double[half];
        for (int i = half; i < n - 1; i++)
        {
            line[i - half] = spread.Value[i - 1] - spread.Value[i + 1];
        }

        return line;
    }

    // Brightness at a whole number of bins inside the edge; nothing outside, half of it at the edge itself.
    private static double Between(double[] depth, int bins) => bins < 0 ? 0 : bins == 0 ? depth[0] / 2 : (depth[bins - 1] + depth[bins]) / 2;

    private void Transform()
    {
        int n = spread.Value.Length;
        for (int i = 1; i < n - 1; i++)
        {
            Line[i] = -(spread.Value[i + 1] - spread.Value[i - 1]) / (2 * EdgeStrip.Bin);
        }

        double step = EdgeStrip.Bin / Fine;
        changes = [.. Enumerable.Range(1, (int)(spread.Reach / step)).Select(k =>
            (SurfaceAt(k * step) - SurfaceAt((k - 1) * step)) * Window((k - 0.5) * step / spread.Reach))];
        Complex zero = At(0);
        Mtf = [.. Frequencies.Select(v => (At(v) / zero).Magnitude)];
        Width = Between(zero);
    }

    /// <summary>Transfer function times the step, at a frequency.</summary>
    private Complex At(double v)
    {
        Complex sum = Complex.Zero, surface = Step0;
        double turn = -2 * Math.PI * v;

        // Waves by turning from bin to bin.
        Complex wave = Wave(turn * spread.At(1)), on = Wave(turn * EdgeStrip.Bin);
        for (int i = 1; i < Line.Length - 1; i++)
        {
            sum += Line[i] * window[i] * wave;
            wave *= on;
        }

        // The surface's own change, in steps of half a bin; its step at the edge is whole.
        double step = EdgeStrip.Bin / Fine;
        (wave, on) = (Wave(-turn * step / 2), Wave(-turn * step));
        foreach (double change in changes)
        {
            surface += change * wave;
            wave *= on;
        }

        double x = 2 * Math.PI * v * EdgeStrip.Bin, bin = Math.PI * v * EdgeStrip.Bin;
        double derivative = x == 0 ? 1 : x / Math.Sin(x), boxes = bin == 0 ? 1 : bin / Math.Sin(bin);
        return ((sum * EdgeStrip.Bin * derivative * boxes) + (Step0 * Beyond(v))) / surface;
    }

    // Transform of what the window leaves out of the tails a / s^2 on both sides.
    private double Beyond(double v)
    {
        double sum = 0, from = Flat * spread.Reach, reach = spread.Reach;
        if (tail <= 0)
        {
            return 0;
        }

        const int Steps = 120;
        for (int k = 0; k < Steps; k++)
        {
            double s = from + ((k + 0.5) * (reach - from) / Steps);
            sum += (1 - Window(s / reach)) / (s * s) * Math.Cos(2 * Math.PI * v * s) * (reach - from) / Steps;
        }

        // From the window's end on: integral of cos(2 pi v s) / s^2 by parts: cos(x) / R - 2 pi v (pi / 2 - Si(x)), x = 2 pi v R.
        double x = 2 * Math.PI * v * reach;
        return 2 * tail * (sum + (Math.Cos(x) / reach) - (2 * Math.PI * v * ((Math.PI / 2) - SineIntegral(x))));
    }

    // Si(x): its series for small x, the asymptotic one beyond.
    private static double SineIntegral(double x)
    {
        if (x > 12)
        {
            double y = 1 / (x * x);
            double f = (1 - (2 * y) + (24 * y * y) - (720 * y * y * y)) / x, g = (1 - (6 * y) + (120 * y * y)) * y;
            return (Math.PI / 2) - (f * Math.Cos(x)) - (g * Math.Sin(x));
        }

        double sum = 0, term = x;
        for (int k = 0; k < 60; k++)
        {
            sum += term / ((2 * k) + 1);
            term *= -x * x / (((2 * k) + 2) * ((2 * k) + 3.0));
        }

        return sum;
    }

    // Edge by the inverse transform: E(s) = 1/2 - integral of Im[OTF exp(2 pi i v s)] / (pi v).
    private double Between(Complex zero)
    {
        const double Top = 1.5, Grid = 0.1;
        double dv = 1 / (5 * spread.Reach), from = -0.9 * spread.Reach;
        int count = (int)(Top / dv), points = (int)(1.8 * spread.Reach / Grid);
        double[] edge = new double[points];
        Array.Fill(edge, 0.5);
        for (int k = 0; k < count; k++)
        {
            double v = (k + 0.5) * dv;
            Complex value = At(v) / zero * (dv / (Math.PI * v)), wave = Wave(2 * Math.PI * v * from), on = Wave(2 * Math.PI * v * Grid);
            for (int i = 0; i < points; i++)
            {
                edge[i] -= (value.Real * wave.Imaginary) + (value.Imaginary * wave.Real);
                wave *= on;
            }
        }

        // From the place of a half outwards, so that waves of the plateau do not count.
        int half = Array.FindIndex(edge, e => e < 0.5), high = half, low = half;
        while (high > 0 && edge[high] < 0.9)
        {
            high--;
        }

        while (low >= 0 && low < points - 1 && edge[low] > 0.1)
        {
            low++;
        }

        return half <= 0 || high <= 0 || low >= points - 1 ? double.NaN
            : Grid * (low - 1 + ((edge[low - 1] - 0.1) / (edge[low - 1] - edge[low])) - (high + ((edge[high] - 0.9) / (edge[high] - edge[high + 1]))));
    }
}
