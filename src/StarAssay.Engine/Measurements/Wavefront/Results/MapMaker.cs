using System.Numerics.Tensors;
using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Map and the figures read from it.</summary>
internal sealed record MapFigures(double[,] Map, double[,] MapUncertainty, Measured Rms, Measured Pv, double PvBiasNm, Measured Strehl, double StrehlFromRms,
    double MapErrorNm);

/// <summary>
/// The modes on the open pupil with piston, tilt and best focus taken out of each by weighted least squares there: for an
/// annulus a circle polynomial still holds some of these, and they are no fault of the optics.
/// </summary>
/// <remarks>The middles of the samples stop half a sample short of the rim, where a wavefront is often at its steepest; the peak-to-valley
/// value therefore looks at points on the rims too.</remarks>
internal sealed class MapMaker
{
    private const int Draws = 200;
    private const int RimPoints = 360;
    private readonly int[] open;
    private readonly double[] weight;
    private readonly double[][] rows;
    private readonly Matrix<double> gram;
    private readonly int points;

    /// <summary>Prepares the modes.</summary>
    /// <param name="shape">Pupil.</param>
    /// <param name="modes">All modes on offer.</param>
    /// <param name="count">How many of them, from the first.</param>
    /// <param name="size">Samples across.</param>
    public MapMaker(PupilShape shape, FitModes modes, int count, int size)
    {
        Size = size;

        // Samples at (2k + 1 - n)/n: a raster of twice the density has its odd samples there.
        double[] raster = PupilRaster.Draw(shape, (2 * size) + 2, 2 * size);
        Open = new double[size, size];
        var list = new List<int>();
        var x = new List<double>();
        var y = new List<double>();
        int wide = (2 * size) + 2;
        for (int j = 0; j < size; j++)
        {
            for (int i = 0; i < size; i++)
            {
                // The four fine samples that touch this one's square, by area: centre, edges, corners.
                double share = 0;
                for (int b = -1; b <= 1; b++)
                {
                    for (int a = -1; a <= 1; a++)
                    {
                        double area = (a == 0 ? 0.5 : 0.25) * (b == 0 ? 0.5 : 0.25);
                        share += area * raster[(((2 * j) + 2 + b) * wide) + (2 * i) + 2 + a];
                    }
                }

                Open[j, i] = Math.Clamp(share, 0, 1);
                if (share > 0.01)
                {
                    list.Add((j * size) + i);
                    x.Add(((2.0 * i) + 1 - size) / size);
                    y.Add(((2.0 * j) + 1 - size) / size);
                }
                else
                {
                    Open[j, i] = 0;
                }
            }
        }

        open = [.. list];
        weight = [.. open.Select(k => Open[k / size, k % size])];
        double sum = weight.Sum();
        for (int p = 0; p < weight.Length; p++)
        {
            weight[p] /= sum;
        }

        AddRims(shape, x, y);
        points = x.Count;
        double[][] focus = [.. Enumerable.Range(1, 4).Select(n => Row(ZernikeIndex.FromNoll(n), x, y))];
        rows = [.. Enumerable.Range(0, count).Select(m => Row(modes, m, x, y))];
        Orthonormalize(focus);
        foreach (double[] row in rows)
        {
            foreach (double[] f in focus)
            {
                Subtract(row, f, Mean(row, f));
            }
        }

        gram = Gramian();
    }

    /// <summary>Samples across.</summary>
    public int Size { get; }

    /// <summary>Open share of each sample.</summary>
    public double[,] Open { get; }

    /// <summary>Mean over the open pupil of the product of two flattened modes.</summary>
    public Matrix<double> GramMatrix => gram;

    /// <summary>RMS over the open pupil of a set of coefficients.</summary>
    public double Rms(ReadOnlySpan<double> c)
    {
        Vector<double> v = Vector<double>.Build.DenseOfArray(c.ToArray());
        return Math.Sqrt(Math.Max(0, v * (gram * v)));
    }

    /// <summary>Map, RMS, PV and Strehl ratio with their uncertainties.</summary>
    /// <param name="c">Coefficients, nm.</param>
    /// <param name="covariance">Their covariance.</param>
    /// <param name="photons">The part of it that photons and read noise alone make: what they add to the map's power is known and taken off.
    /// The rest may or may not be in the map, so it widens the bars and is never given back.</param>
    /// <param name="unseen">Power that the modes cannot show.</param>
    /// <param name="wavelengthNm">For the Strehl ratio.</param>
    public MapFigures Figures(double[] c, Matrix<double> covariance, Matrix<double> photons, UnseenPower unseen, double wavelengthNm)
    {
        double[] map = Map(c);
        double noise2 = (gram * photons).Trace();
        (Measured Rms, Measured Strehl) power = Power(map, c, covariance, noise2, unseen, wavelengthNm);
        double rms = power.Rms.Value;
        double waves = 2 * Math.PI * rms / wavelengthNm;
        (double pv, double uPv, double bias) = PvOf(c, covariance);
        return new MapFigures(Spread(map), Spread(Sigmas(covariance)), power.Rms, new Measured(pv, uPv, "nm"), bias,
            power.Strehl, rms / wavelengthNm > 0.1 ? double.NaN : Math.Exp(-waves * waves), Math.Sqrt(noise2));
    }

    /// <summary>RMS and Strehl ratio alone, as <see cref="Figures"/> gives them.</summary>
    public (Measured Rms, Measured Strehl) Power(double[] c, Matrix<double> covariance, Matrix<double> photons, UnseenPower unseen, double wavelengthNm) =>
        Power(Map(c), c, covariance, (gram * photons).Trace(), unseen, wavelengthNm);

    /// <summary>The budget's line for power that the modes cannot show.</summary>
    public WavefrontBudgetLine LineOf(UnseenPower unseen, double[] c, double wavelengthNm)
    {
        double rms = Math.Sqrt(Math.Pow(Rms(c), 2) + unseen.MeanNm2);
        double k2 = Math.Pow(2 * Math.PI / wavelengthNm, 2);
        _ = StrehlGradient(Map(c), wavelengthNm, out double strehl);
        return new WavefrontBudgetLine(double.NaN, rms > 0 ? unseen.SigmaNm2 / (2 * rms) : 0, strehl * Math.Exp(-k2 * unseen.MeanNm2) * k2 * unseen.SigmaNm2)
        {
            Source = "finer than the modes, as far as the residuals allow",
            Kind = "B",
            Input = $"0 to {Math.Sqrt(unseen.BoundNm2):F1} nm RMS; one-sided, its middle is in RMS and Strehl ratio, nothing of it in the map",
        };
    }

    /// <summary>Derivative of the RMS by the coefficients.</summary>
    public Vector<double> RmsGradient(double[] c)
    {
        double rms = Rms(c);
        Vector<double> g = gram * Vector<double>.Build.DenseOfArray(c);
        return rms > 0 ? g / rms : g;
    }

    /// <summary>Derivative of the Strehl ratio by the coefficients.</summary>
    public Vector<double> StrehlGradient(double[] c, double wavelengthNm) =>
        Vector<double>.Build.DenseOfArray(StrehlGradient(Map(c), wavelengthNm, out _));

    private (Measured Rms, Measured Strehl) Power(double[] map, double[] c, Matrix<double> covariance, double noise2, UnseenPower unseen, double wavelengthNm)
    {
        double raw2 = map.Take(weight.Length).Select((v, p) => weight[p] * v * v).Sum();
        (double rms, double uRms) = RmsOf(c, covariance, raw2 - noise2 + unseen.MeanNm2, unseen.SigmaNm2);
        (double strehl, double uStrehl) = StrehlOf(map, covariance, wavelengthNm, noise2 - unseen.MeanNm2, unseen.SigmaNm2);
        return (new Measured(rms, uRms, "nm"), new Measured(strehl, uStrehl, string.Empty));
    }

    // RMS without the noise's own share: E[c'Gc] = true + tr(G C). Its variance is 4 c'GCGc + 2 tr(GCGC), of which the second
    // part keeps the bar open when the true RMS is near zero.
    private (double Rms, double Uncertainty) RmsOf(double[] c, Matrix<double> covariance, double true2, double unseenSigma2)
    {
        Vector<double> g = gram * Vector<double>.Build.DenseOfArray(c);
        Matrix<double> gc = gram * covariance;
        double variance2 = (4 * (g * (covariance * g))) + (2 * (gc * gc).Trace()) + (unseenSigma2 * unseenSigma2);
        double rms = Math.Sqrt(Math.Max(true2, 0));
        double floor = Math.Sqrt(Math.Sqrt(variance2));
        return (rms, Math.Sqrt(variance2) / (2 * Math.Max(rms, floor / 2)));
    }

    private (double Strehl, double Uncertainty) StrehlOf(double[] map, Matrix<double> covariance, double wavelengthNm, double noise2, double unseenSigma2)
    {
        double[] gradient = StrehlGradient(map, wavelengthNm, out double raw);
        Vector<double> g = Vector<double>.Build.DenseOfArray(gradient);
        double k2 = Math.Pow(2 * Math.PI / wavelengthNm, 2);

        // Noise in the map lowers the ratio by exp(-k^2 noise^2) on average; that share is given back.
        double strehl = Math.Min(1, raw * Math.Exp(k2 * noise2));
        Matrix<double> gc = gram * covariance;
        double second = k2 * k2 * ((2 * (gc * gc).Trace()) + (unseenSigma2 * unseenSigma2));
        return (strehl, Math.Sqrt((g * (covariance * g)) + (second * strehl * strehl)));
    }

    private double[] StrehlGradient(double[] map, double wavelengthNm, out double strehl)
    {
        double k = 2 * Math.PI / wavelengthNm;
        double[] sin = new double[map.Length];
        double[] cos = new double[map.Length];
        TensorPrimitives.Multiply(map, k, sin);
        TensorPrimitives.SinCos(sin, sin, cos);
        sin = sin[..weight.Length];
        cos = cos[..weight.Length];
        double re = TensorPrimitives.Dot<double>(weight, cos);
        double im = TensorPrimitives.Dot<double>(weight, sin);
        strehl = (re * re) + (im * im);

        // 2 k weight (im cos - re sin) is the derivative by the map; each mode takes its product with that.
        TensorPrimitives.Multiply(cos, im, cos);
        TensorPrimitives.MultiplyAdd(sin, -re, cos, cos);
        TensorPrimitives.Multiply(cos, weight, cos);
        return [.. rows.Select(row => 2 * k * TensorPrimitives.Dot<double>(row.AsSpan(0, cos.Length), cos))];
    }

    // PV of the map whose coefficients are shrunk by signal/(signal + noise); the bias from draws round it.
    private (double Pv, double Uncertainty, double Bias) PvOf(double[] c, Matrix<double> covariance)
    {
        double[] filtered = Filter(c, covariance);
        Matrix<double> root = Root(covariance);
        var random = new MathNet.Numerics.Distributions.Normal(0, 1, new Random(20240517));
        double[][] sets = new double[1 + Draws][];
        sets[0] = filtered;
        for (int d = 1; d < sets.Length; d++)
        {
            Vector<double> z = Vector<double>.Build.Dense(c.Length, _ => random.Sample());
            sets[d] = Filter((Vector<double>.Build.DenseOfArray(filtered) + (root * z)).ToArray(), covariance);
        }

        double[] values = PeaksToValleys(sets);
        double pv = values[0], sum = 0, sum2 = 0;
        foreach (double v in values.AsSpan(1))
        {
            sum += v;
            sum2 += v * v;
        }

        double mean = sum / Draws;
        return (pv, Math.Sqrt(Math.Max(0, (sum2 / Draws) - (mean * mean))), mean - pv);
    }

    /// <summary>A matrix that turns independent normal numbers into some of this covariance.</summary>
    public static Matrix<double> Root(Matrix<double> covariance)
    {
        MathNet.Numerics.LinearAlgebra.Factorization.Evd<double> evd = covariance.Evd(Symmetricity.Symmetric);
        return evd.EigenVectors * Matrix<double>.Build.DenseOfDiagonalVector(evd.EigenValues.Real().PointwiseMaximum(0).PointwiseSqrt());
    }

    private static double[] Filter(double[] c, Matrix<double> covariance) =>
        [.. c.Select((v, j) => v * v * v / ((v * v) + covariance[j, j]))];

    // Of the map that each set of coefficients makes. Some points at a time, so that their rows stay in the nearest cache.
    private double[] PeaksToValleys(double[][] sets)
    {
        const int Block = 256;
        int[] looked = [.. Enumerable.Range(0, points).Where(p => p >= open.Length || Open[open[p] / Size, open[p] % Size] >= 0.5)];
        double[] low = new double[sets.Length], high = new double[sets.Length], map = new double[Block], near = new double[rows.Length * Block];
        Array.Fill(low, double.MaxValue);
        Array.Fill(high, double.MinValue);
        for (int begin = 0; begin < looked.Length; begin += Block)
        {
            int n = Math.Min(Block, looked.Length - begin);
            for (int j = 0; j < rows.Length; j++)
            {
                for (int p = 0; p < n; p++)
                {
                    near[(j * Block) + p] = rows[j][looked[begin + p]];
                }
            }

            Span<double> part = map.AsSpan(0, n);
            for (int d = 0; d < sets.Length; d++)
            {
                part.Clear();
                for (int j = 0; j < sets[d].Length; j++)
                {
                    TensorPrimitives.MultiplyAdd(near.AsSpan(j * Block, n), sets[d][j], part, part);
                }

                low[d] = Math.Min(low[d], TensorPrimitives.Min<double>(part));
                high[d] = Math.Max(high[d], TensorPrimitives.Max<double>(part));
            }
        }

        return [.. high.Zip(low, (h, l) => h - l)];
    }

    private double[] Map(double[] c)
    {
        double[] map = new double[points];
        for (int j = 0; j < c.Length; j++)
        {
            TensorPrimitives.MultiplyAdd(rows[j], c[j], map, map);
        }

        return map;
    }

    private double[] Sigmas(Matrix<double> covariance)
    {
        double[] sigma = new double[points];
        Matrix<double> root = Root(covariance);
        double[] column = new double[rows.Length];
        for (int d = 0; d < rows.Length; d++)
        {
            for (int j = 0; j < rows.Length; j++)
            {
                column[j] = root[j, d];
            }

            double[] part = Map(column);
            for (int p = 0; p < part.Length; p++)
            {
                sigma[p] += part[p] * part[p];
            }
        }

        return [.. sigma.Select(Math.Sqrt)];
    }

    private double[,] Spread(double[] values)
    {
        double[,] map = new double[Size, Size];
        for (int j = 0; j < Size; j++)
        {
            for (int i = 0; i < Size; i++)
            {
                map[j, i] = double.NaN;
            }
        }

        for (int p = 0; p < open.Length; p++)
        {
            map[open[p] / Size, open[p] % Size] = values[p];
        }

        return map;
    }

    private static double[] Row(ZernikeIndex mode, List<double> x, List<double> y) =>
        [.. x.Select((v, p) => Zernike.Evaluate(mode, v, y[p]))];

    private static double[] Row(FitModes modes, int index, List<double> x, List<double> y) =>
        [.. x.Select((v, p) => modes.Evaluate(index, v, y[p]))];

    // Points on the outer and inner rim that pass light, after the samples.
    private static void AddRims(PupilShape shape, List<double> x, List<double> y)
    {
        foreach (double rim in shape.Obstruction > 0 ? [1.0, shape.Obstruction] : new[] { 1.0 })
        {
            double just = rim == 1 ? 1 - 1e-9 : rim + 1e-9;
            for (int i = 0; i < RimPoints; i++)
            {
                (double s, double c) = Math.SinCos(2 * Math.PI * i / RimPoints);
                if (shape.Passes(just * c, just * s))
                {
                    x.Add(just * c);
                    y.Add(just * s);
                }
            }
        }
    }

    private Matrix<double> Gramian()
    {
        double[][] weighted = [.. rows.Select(row =>
        {
            double[] product = new double[weight.Length];
            TensorPrimitives.Multiply(row.AsSpan(0, weight.Length), weight, product);
            return product;
        })];
        var matrix = Matrix<double>.Build.Dense(rows.Length, rows.Length);
        for (int a = 0; a < rows.Length; a++)
        {
            for (int b = 0; b <= a; b++)
            {
                matrix[a, b] = matrix[b, a] = TensorPrimitives.Dot<double>(weighted[a], rows[b].AsSpan(0, weight.Length));
            }
        }

        return matrix;
    }

    private void Orthonormalize(double[][] basis)
    {
        for (int a = 0; a < basis.Length; a++)
        {
            for (int b = 0; b < a; b++)
            {
                Subtract(basis[a], basis[b], Mean(basis[a], basis[b]));
            }

            double size = Math.Sqrt(Mean(basis[a], basis[a]));
            for (int p = 0; p < basis[a].Length; p++)
            {
                basis[a][p] /= size;
            }
        }
    }

    private static void Subtract(double[] from, double[] what, double times) =>
        TensorPrimitives.MultiplyAdd(what, -times, from, from);

    private double Mean(double[] a, double[] b)
    {
        double sum = 0;
        for (int p = 0; p < weight.Length; p++)
        {
            sum += weight[p] * a[p] * b[p];
        }

        return sum;
    }
}
