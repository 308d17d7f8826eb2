using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Lines too close to be told apart, fitted together: one shift, and a strength of each that the list guides.</summary>
/// <param name="Column">Where their mean lies, weighted by the strengths found.</param>
/// <param name="Nm">Their mean wavelength, weighted so.</param>
/// <param name="Sigma">Standard uncertainty of the column.</param>
/// <param name="Light">Their light, over its uncertainty.</param>
/// <param name="At">Column of every line.</param>
/// <param name="Strength">Light of every line.</param>
internal readonly record struct LineBlend(double Column, double Nm, double Sigma, double Light, double[] At, double[] Strength)
{
    // How far a lamp's strengths depart from the list's, relative: of one gas, and of different gases. Our own choice.
    private const double StrengthFreedom = 0.6;
    private const double GasFreedom = 1.5;

    // Share of a line's height by which its shape departs from the one that all share. Our own choice.
    private const double ShapeError = 0.02;

    /// <summary>Fits lines at their places by the scale so far, shifted together.</summary>
    /// <param name="v">Flux above the floor between lines.</param>
    /// <param name="noise">Its standard deviation in each column.</param>
    /// <param name="shape">Of every line.</param>
    /// <param name="at">Columns at which the scale puts the lines.</param>
    /// <param name="lines">The lines.</param>
    /// <param name="search">How far they may lie from there, columns.</param>
    public static LineBlend? Fit(double[] v, double[] noise, LineShape shape, double[] at, LampLine[] lines, double search)
    {
        double first = at.Min(), last = at.Max(), reach = 1.2 * shape.Width;
        if (first - search < 2 || last + search > v.Length - 3)
        {
            return null;
        }

        // A coarse scan first, then Newton's steps.
        double best = 0, least = double.MaxValue;
        for (double off = -search; off <= search + 1e-9; off += 0.4)
        {
            Solved s = Solve(v, noise, shape, at, lines, off, reach);
            if (s.Score < least)
            {
                (least, best) = (s.Score, off);
            }
        }

        Solved solved = Solve(v, noise, shape, at, lines, best, reach);
        for (int turn = 0; turn < 6; turn++)
        {
            best += Math.Clamp(solved.Step, -0.3, 0.3);
            solved = Solve(v, noise, shape, at, lines, best, reach);
        }

        double light = solved.Strength.Sum();
        if (!(light > 0) || Math.Abs(best) > search + 0.5 || !double.IsFinite(solved.Sigma))
        {
            return null;
        }

        double nm = lines.Select((l, i) => l.Nm * solved.Strength[i]).Sum() / light, column = at.Select((x, i) => x * solved.Strength[i]).Sum() / light;
        double shift = best;
        return new LineBlend(column + best, nm, solved.Sigma, light / solved.LightError, [.. at.Select(x => x + shift)], solved.Strength);
    }

    /// <summary>Its light in every column.</summary>
    public void AddTo(double[] model, LineShape shape, double sign)
    {
        for (int i = 0; i < At.Length; i++)
        {
            int reach = (int)Math.Ceiling(2.5 * shape.Width) + 2;
            for (int c = Math.Max(0, (int)At[i] - reach); c <= Math.Min(model.Length - 1, (int)At[i] + reach); c++)
            {
                model[c] += sign * Strength[i] * shape.At(c - At[i]);
            }
        }
    }

    private static Solved Solve(double[] v, double[] noise, LineShape shape, double[] at, LampLine[] lines, double off, double reach)
    {
        int n = lines.Length, a = (int)Math.Max(0, Math.Floor(at.Min() + off - reach)), b = (int)Math.Min(v.Length - 1, Math.Ceiling(at.Max() + off + reach));
        int rows = b - a + 1;
        double peak = 0;
        for (int c = a; c <= b; c++)
        {
            peak = Math.Max(peak, v[c]);
        }

        // Unknown: a strength of each line, and a floor. Prior: the list's strengths, times what the brightest says.
        double[] strength = [.. lines.Select(l => l.Strength)];
        double gain = peak / Math.Max(1e-12, Enumerable.Range(0, n).Max(i => strength.Select((s, k) => s * shape.At(at[i] - at[k])).Sum()));
        var gains = new double[n];
        Array.Fill(gains, gain);
        bool gases = lines.Any(l => l.Lamp != lines[0].Lamp);
        double[] found = [];
        Matrix<double> inverse = Matrix<double>.Build.Dense(1, 1);
        double[] model = new double[rows], slope = new double[rows], sigma = new double[rows];
        for (int turn = 0; turn < 3; turn++)
        {
            var h = Matrix<double>.Build.Dense(n + 1, n + 1);
            var g = Vector<double>.Build.Dense(n + 1);
            for (int r = 0; r < rows; r++)
            {
                int c = a + r;
                sigma[r] = Math.Sqrt((noise[c] * noise[c]) + Math.Pow(ShapeError * peak, 2));
                var row = new double[n + 1];
                for (int i = 0; i < n; i++)
                {
                    row[i] = shape.At(c - at[i] - off);
                }

                row[n] = 1;
                for (int i = 0; i <= n; i++)
                {
                    g[i] += row[i] * v[c] / (sigma[r] * sigma[r]);
                    for (int k = 0; k <= n; k++)
                    {
                        h[i, k] += row[i] * row[k] / (sigma[r] * sigma[r]);
                    }
                }
            }

            if (n > 1)
            {
                for (int i = 0; i < n; i++)
                {
                    double mean = gains[i] * lines[i].Strength, spread = (gases ? GasFreedom : StrengthFreedom) * mean;
                    h[i, i] += 1 / (spread * spread);
                    g[i] += mean / (spread * spread);
                }
            }

            h[n, n] += 1 / Math.Pow(0.03 * peak + noise[a], 2); // the floor is taken off already
            inverse = h.Inverse();
            found = (inverse * g).ToArray();
            double sum = 0, listed = 0;
            for (int i = 0; i < n; i++)
            {
                found[i] = Math.Max(found[i], 0);
                sum += found[i];
                listed += lines[i].Strength;
            }

            Array.Fill(gains, sum / listed);
        }

        double chi = 0, ss = 0, sv = 0;
        for (int r = 0; r < rows; r++)
        {
            int c = a + r;
            for (int i = 0; i < n; i++)
            {
                model[r] += found[i] * shape.At(c - at[i] - off);
                slope[r] -= found[i] * (shape.At(c - at[i] - off + 0.05) - shape.At(c - at[i] - off - 0.05)) / 0.1;
            }

            double left = v[c] - model[r] - found[n], w = 1 / (sigma[r] * sigma[r]);
            chi += left * left * w;
            ss += slope[r] * slope[r] * w;
            sv += slope[r] * left * w;
        }

        double prior = 0;
        for (int i = 0; i < n && n > 1; i++)
        {
            double mean = gains[i] * lines[i].Strength;
            prior += Math.Pow((found[i] - mean) / ((gases ? GasFreedom : StrengthFreedom) * mean), 2);
        }

        // The share of the shift's uncertainty that strengths not known add: a strength moves the mean by its place.
        double scatter = Math.Sqrt(Math.Max(1, chi / Math.Max(1, rows - n - 2)));
        double byStrength = 0, light = Math.Max(found.Take(n).Sum(), 1e-12), center = at.Select((x, i) => x * found[i]).Sum() / light;
        for (int i = 0; i < n && n > 1; i++)
        {
            byStrength += Math.Pow((at[i] - center) / light, 2) * inverse[i, i];
        }

        double error = scatter * Math.Sqrt((1 / Math.Max(ss, 1e-300)) + Math.Min(byStrength, 1));
        // What does not move with the shift is noise: light against its own error.
        double lightError = scatter * Math.Sqrt(Enumerable.Range(0, n).Sum(i => inverse[i, i]));
        return new Solved(chi + prior, sv / Math.Max(ss, 1e-300), error, [.. found.Take(n)], Math.Max(lightError, 1e-12));
    }

    private readonly record struct Solved(double Score, double Step, double Sigma, double[] Strength, double LightError);
}
