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
/// E(s) + E(-s): what a symmetric line spread does to the edge, wings included, cancels there.
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

    private EdgeTransfer(EdgeSpread spread, Func<double, double> shape)
    {
        (this.spread, this.shape) = (spread, shape);
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

    /// <summary>Residual of the surface's profile, for choosing one.</summary>
    public double Misfit { get; private set; }

    /// <summary>Width from 10 to 90 % of the corrected edge, pixels.</summary>
    public double Width { get; private set; }

    /// <summary>Transforms an edge spread.</summary>
    /// <param name="spread">The edge spread.</param>
    /// <param name="width">Its usual width, pixels: nearer the edge the surface's profile is not read.</param>
    /// <param name="shape">Brightness of the surface by depth over that at the edge, beside a slope.</param>
    public static EdgeTransfer Of(EdgeSpread spread, double width, Func<double, double> shape)
    {
        var found = new EdgeTransfer(spread, shape);
        found.Surface(width);
        found.Transform();
        return found;
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
        var rows = new List<(double P, double D, double Q)>();
        for (int i = n / 2; i < n; i++)
        {
            double d = spread.At(i);
            if (d >= from && d <= to)
            {
                rows.Add((shape(d), d, spread.Value[i] + spread.Value[n - 1 - i]));
            }
        }

        foreach ((double p, double d, double q) in rows)
        {
            double[] row = [p, p * d];
            for (int a = 0; a < 2; a++)
            {
                side[a] += row[a] * q;
                for (int b = 0; b < 2; b++)
                {
                    normal[a, b] += row[a] * row[b];
                }
            }
        }

        Vector<double> found = PositiveDefinite.Inverse(normal) is { } inverse ? inverse * side : Vector<double>.Build.DenseOfArray([1, 0]);
        (Step0, Slope) = (found[0], found[1] / found[0]);
        Misfit = rows.Count > 2 ? Math.Sqrt(rows.Average(r => Math.Pow(r.Q - SurfaceAt(r.D), 2))) : double.NaN;
    }

    private void Transform()
    {
        int n = spread.Value.Length;
        for (int i = 1; i < n - 1; i++)
        {
            Line[i] = -(spread.Value[i + 1] - spread.Value[i - 1]) / (2 * EdgeStrip.Bin);
        }

        Complex zero = At(0);
        Mtf = [.. Frequencies.Select(v => (At(v) / zero).Magnitude)];
        Width = Between(zero);
    }

    /// <summary>Transfer function times the step, at a frequency.</summary>
    private Complex At(double v)
    {
        Complex sum = Complex.Zero, surface = Step0;
        double turn = -2 * Math.PI * v;
        for (int i = 1; i < Line.Length - 1; i++)
        {
            double s = spread.At(i);
            sum += Line[i] * window[i] * new Complex(Math.Cos(turn * s), Math.Sin(turn * s));
        }

        // The surface's own change, in steps of half a bin; its step at the edge is whole.
        double step = EdgeStrip.Bin / Fine, before = Step0;
        for (double d = step; d < spread.Reach; d += step)
        {
            double here = SurfaceAt(d), middle = d - (step / 2);
            surface += (here - before) * Window(middle / spread.Reach) * new Complex(Math.Cos(turn * middle), -Math.Sin(turn * middle));
            before = here;
        }

        double x = 2 * Math.PI * v * EdgeStrip.Bin, bin = Math.PI * v * EdgeStrip.Bin;
        double derivative = x == 0 ? 1 : x / Math.Sin(x), boxes = bin == 0 ? 1 : bin / Math.Sin(bin);
        return sum * EdgeStrip.Bin * derivative * boxes / surface;
    }

    // Edge by the inverse transform: E(s) = 1/2 - integral of Im[OTF exp(2 pi i v s)] / (pi v).
    private double Between(Complex zero)
    {
        double top = 1.5, dv = 1 / (5 * spread.Reach);
        int count = (int)(top / dv);
        (double V, Complex Value)[] transfer = [.. Enumerable.Range(0, count).Select(k => ((k + 0.5) * dv, At((k + 0.5) * dv) / zero))];
        double Edge(double s)
        {
            double sum = 0;
            foreach ((double v, Complex value) in transfer)
            {
                double turn = 2 * Math.PI * v * s;
                sum += ((value.Real * Math.Sin(turn)) + (value.Imaginary * Math.Cos(turn))) / (Math.PI * v);
            }

            return 0.5 - (sum * dv);
        }

        double Crossing(double level)
        {
            double reach = 0.9 * spread.Reach, step = 0.25, before = Edge(-reach);
            for (double s = -reach + step; s < reach; s += step)
            {
                double here = Edge(s);
                if (before >= level && here < level)
                {
                    (double low, double high) = (s - step, s);
                    for (int turn = 0; turn < 30; turn++)
                    {
                        double middle = (low + high) / 2;
                        (low, high) = Edge(middle) >= level ? (middle, high) : (low, middle);
                    }

                    return (low + high) / 2;
                }

                before = here;
            }

            return double.NaN;
        }

        return Crossing(0.1) - Crossing(0.9);
    }
}
