using System.Collections.Concurrent;

namespace StarAssay.Engine.Optics;

/// <summary>
/// Optical transfer function of a defocused round pupil with a central obstruction, exact diffraction, as a table with
/// smooth interpolation.
/// </summary>
/// <remarks>
/// Hopkins 1955, Proc. R. Soc. A 231, 91: with W = W020 rho^2 the transfer at a share v of the cutoff (pupils sheared by 2 v)
/// is (1/A) times the integral over the overlap of the two pupils of exp(8 pi i W020 v x): the overlap's chord at x times
/// cos(8 pi W020 v x). The overlap of two rings is that of the discs minus the mixed ones plus that of the holes, for chords
/// too. With x = (1 - v) sin t the phase is 8 pi q sin t, q = W020 v (1 - v), so the table runs over v and q, in both of which
/// the function is smooth whatever the defocus. One slice through it transforms into the line spread function, which is the
/// profile across a spectrum.
/// </remarks>
public sealed class DefocusTransfer
{
    private const int ShareSteps = 80;
    private const double QStep = 1.0 / 64;
    private const int QSteps = 12 * 64;
    private const int Row = ShareSteps + 1;
    private static readonly ConcurrentDictionary<double, DefocusTransfer> Cache = new();

    private readonly double[] table = new double[(QSteps + 1) * Row];
    private readonly double[] slope = new double[(QSteps + 1) * Row]; // derivative by q, times the step

    private DefocusTransfer(double obstruction)
    {
        Obstruction = obstruction;
        Fill();
    }

    /// <summary>Ratio of the diameters of hole and pupil.</summary>
    public double Obstruction { get; }

    /// <summary>The table for an obstruction; made once.</summary>
    public static DefocusTransfer For(double obstruction) => Cache.GetOrAdd(obstruction, static e => new DefocusTransfer(e));

    /// <summary>Transfer at a share of the cutoff frequency and a defocus in waves, with its derivative by the latter.</summary>
    public double At(double share, double waves, out double derivative) => At(new Share(share), waves, out derivative);

    /// <summary>Transfer at a share that many values are wanted for.</summary>
    internal double At(in Share share, double waves, out double derivative)
    {
        derivative = 0;
        if (share.Value >= 1)
        {
            return 0;
        }

        double aq = Math.Abs(waves) * share.PerWave / QStep;
        if (aq >= QSteps)
        {
            return 0; // below 4e-4 of the zero-frequency value by then, and oscillating
        }

        // Cubic Hermite along q (values and slopes are exact there), cubic Lagrange along the share.
        int iq = (int)aq;
        double t = aq - iq;
        double t2 = t * t;
        double t3 = t2 * t;
        double h00 = (2 * t3) - (3 * t2) + 1, h10 = t3 - (2 * t2) + t, h01 = (3 * t2) - (2 * t3), h11 = t3 - t2;
        double d00 = 6 * (t2 - t), d10 = (3 * t2) - (4 * t) + 1, d11 = (3 * t2) - (2 * t);
        int lo = (iq * Row) + share.Column;
        int hi = lo + Row;
        double f0 = share.Of(table, lo), f1 = share.Of(table, hi), g0 = share.Of(slope, lo), g1 = share.Of(slope, hi);
        derivative = Math.Sign(waves) * share.PerWave * ((d00 * (f0 - f1)) + (d10 * g0) + (d11 * g1)) / QStep;
        return (h00 * f0) + (h10 * g0) + (h01 * f1) + (h11 * g1);
    }

    /// <summary>The integral itself, the definition that the table follows.</summary>
    public static double Exact(double obstruction, double share, double waves, int samples = 2000)
    {
        double rim = 1 - share;
        double sum = 0;
        for (int i = 0; i < samples && rim > 0; i++)
        {
            (double sin, double cos) = Math.SinCos((i + 0.5) * Math.PI / 2 / samples);
            double x = rim * sin;
            sum += rim * cos * Overlap(obstruction, x, share) * Math.Cos(8 * Math.PI * waves * share * x);
        }

        return sum * 2 * (Math.PI / 2 / samples) / (Math.PI * (1 - (obstruction * obstruction)));
    }

    private static double Overlap(double e, double x, double half)
    {
        double outer1 = Chord(1, x - half), outer2 = Chord(1, x + half);
        double inner1 = Chord(e, x - half), inner2 = Chord(e, x + half);
        return 2 * (Math.Min(outer1, outer2) - Math.Min(outer1, inner2) - Math.Min(inner1, outer2) + Math.Min(inner1, inner2));
    }

    private static double Chord(double radius, double x)
    {
        double h = (radius * radius) - (x * x);
        return h > 0 ? Math.Sqrt(h) : 0;
    }

    private void Fill()
    {
        const int Samples = 480; // phase runs to 8 pi 12 = 302 radians: ten samples a period and more
        Parallel.For(0, Row, s =>
        {
            double share = s / (double)ShareSteps;
            double rim = 1 - share;
            double norm = 2 * (Math.PI / 2 / Samples) / (Math.PI * (1 - (Obstruction * Obstruction)));
            for (int i = 0; i < Samples; i++)
            {
                (double sin, double cos) = Math.SinCos((i + 0.5) * Math.PI / 2 / Samples);
                double weight = norm * rim * cos * Overlap(Obstruction, rim * sin, share);
                double phase = 8 * Math.PI * sin * QStep;
                (double turnSin, double turnCos) = Math.SinCos(phase);
                double re = weight, im = 0;
                for (int q = 0; q <= QSteps; q++)
                {
                    table[(q * Row) + s] += re;
                    slope[(q * Row) + s] -= im * phase;
                    (re, im) = ((re * turnCos) - (im * turnSin), (re * turnSin) + (im * turnCos));
                }
            }
        });
    }

    /// <summary>Place of a share of the cutoff between the table's columns.</summary>
    internal readonly struct Share
    {
        private readonly double c0, c1, c2, c3;

        /// <summary>Finds the place.</summary>
        /// <param name="value">Share of the cutoff, 0 to 1.</param>
        public Share(double value)
        {
            Value = value;
            PerWave = value * (1 - value);
            double a = value * ShareSteps;
            int i = (int)Math.Clamp(a, 1, ShareSteps - 2);
            double u = a - i;
            Column = i - 1;
            c0 = -u * (u - 1) * (u - 2) / 6;
            c1 = (u + 1) * (u - 1) * (u - 2) / 2;
            c2 = -(u + 1) * u * (u - 2) / 2;
            c3 = (u + 1) * u * (u - 1) / 6;
        }

        /// <summary>The share itself.</summary>
        public double Value { get; }

        /// <summary>What a wave of defocus is worth there.</summary>
        public double PerWave { get; }

        /// <summary>First of the four columns beside it.</summary>
        public int Column { get; }

        /// <summary>A table's value, from the four columns that begin at an index.</summary>
        public double Of(double[] values, int first) =>
            (c0 * values[first]) + (c1 * values[first + 1]) + (c2 * values[first + 2]) + (c3 * values[first + 3]);
    }
}
