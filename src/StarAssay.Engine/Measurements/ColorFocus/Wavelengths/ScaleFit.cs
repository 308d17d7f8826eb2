using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>A wavelength scale with its uncertainty.</summary>
/// <param name="Scale">The polynomial.</param>
/// <param name="Modes">How the scale may be off: independent columns of coefficients of one degree more, nm for one standard deviation.</param>
/// <param name="Used">Which of the places shaped it.</param>
/// <param name="RmsColumns">Scatter about it, columns, corrected for the unknowns.</param>
internal sealed record ScaleFit(ColumnScale Scale, double[][] Modes, bool[] Used, double RmsColumns)
{
    /// <summary>Fits a polynomial through places of lines; the degree is the one the evidence asks for (Schwarz 1978, Ann. Stat. 6, 461).</summary>
    /// <param name="column">Places.</param>
    /// <param name="nm">Wavelengths.</param>
    /// <param name="sigma">Standard uncertainties of the places, columns.</param>
    /// <param name="width">Columns of the frame.</param>
    /// <param name="most">Highest degree allowed.</param>
    public static ScaleFit? Through(double[] column, double[] nm, double[] sigma, int width, int most)
    {
        int n = column.Length;
        var used = new bool[n];
        Array.Fill(used, true);
        double extra = 0.02; // columns, that no line is better than; grows until the scatter is explained
        for (int turn = 0; turn < 8; turn++)
        {
            int count = used.Count(u => u);
            if (count < 3)
            {
                return null;
            }

            (double Score, int Degree, double Chi, ColumnScale Scale, Matrix<double> Inverse) best = (double.MaxValue, 0, 0, null!, null!);
            for (int degree = 1; degree <= Math.Min(most, count - 2); degree++)
            {
                (ColumnScale scale, Matrix<double> inverse, double chi) = Weighted(column, nm, sigma, used, extra, width, degree);
                double score = chi + ((degree + 1) * Math.Log(count));
                if (score < best.Score)
                {
                    best = (score, degree, chi, scale, inverse);
                }
            }

            double[] off = [.. column.Select((x, i) => (best.Scale.Nm(x) - nm[i]) / best.Scale.Dispersion(x))];
            int free = Math.Max(1, count - best.Degree - 1);
            // Scatter beyond the errors is an error that all lines may have.
            double[] kept = [.. off.Where((_, i) => used[i])];
            if (best.Chi / free > 1.2 && extra < 1 && turn < 5)
            {
                double robust = 1.4826 * Robust.Median(kept.Select(Math.Abs)) * Math.Sqrt(count / (double)free);
                double typical = Robust.Median(sigma.Where((_, i) => used[i]));
                extra = Math.Max(1.3 * extra, Math.Sqrt(Math.Max(0, (robust * robust) - (typical * typical))));
            }

            bool changed = false;
            for (int i = 0; i < n; i++)
            {
                bool good = Math.Abs(off[i]) < 3.5 * Math.Sqrt((sigma[i] * sigma[i]) + (extra * extra));
                changed |= good != used[i];
                used[i] = good;
            }

            if ((!changed && best.Chi / free <= 1.2) || turn == 7)
            {
                double grown = Math.Max(1, best.Chi / free);
                int more = Math.Min(best.Degree + 1, Math.Min(most + 1, count - 2));
                (ColumnScale _, Matrix<double> inverse, double _) = Weighted(column, nm, sigma, used, extra, width, Math.Max(more, best.Degree));
                Matrix<double> root = (inverse * grown).Cholesky().Factor;
                double rms = Math.Sqrt(kept.Sum(v => v * v) / free);
                return new ScaleFit(best.Scale, [.. Enumerable.Range(0, root.ColumnCount).Select(k => root.Column(k).ToArray())], used, rms);
            }
        }

        return null;
    }

    /// <summary>Standard uncertainty at a column, nm.</summary>
    public double Sigma(double column)
    {
        double sum = 0, u = (2 * column / (Scale.Width - 1)) - 1;
        foreach (double[] mode in Modes)
        {
            sum += Math.Pow(RobustPolynomial.At(mode, u), 2);
        }

        return Math.Sqrt(sum);
    }

    private static (ColumnScale Scale, Matrix<double> Inverse, double Chi) Weighted(double[] column, double[] nm, double[] sigma, bool[] used, double extra,
        int width, int degree)
    {
        int[] at = [.. Enumerable.Range(0, column.Length).Where(i => used[i])];
        double[] dispersion = [.. at.Select(i => Slope(column, nm, i))];
        var a = Matrix<double>.Build.Dense(at.Length, degree + 1, (r, k) => Math.Pow((2 * column[at[r]] / (width - 1)) - 1, k) / Error(r));
        var y = Vector<double>.Build.Dense(at.Length, r => nm[at[r]] / Error(r));
        Matrix<double> inverse = a.TransposeThisAndMultiply(a).Inverse();
        Vector<double> c = inverse * a.TransposeThisAndMultiply(y);
        double chi = (y - (a * c)).L2Norm();
        return (new ColumnScale(c.ToArray(), width), inverse, chi * chi);

        double Error(int r) => Math.Sqrt((sigma[at[r]] * sigma[at[r]]) + (extra * extra)) * dispersion[r];
    }

    /// <summary>nm per column near a line, roughly: only its weight follows from it.</summary>
    private static double Slope(double[] column, double[] nm, int i)
    {
        int far = Enumerable.Range(0, column.Length).MinBy(k => Math.Abs(Math.Abs(column[k] - column[i]) - (0.2 * (column.Max() - column.Min()))));
        double d = Math.Abs(column[far] - column[i]);
        return d > 0 ? Math.Max(1e-9, Math.Abs(nm[far] - nm[i]) / d) : 1;
    }
}
