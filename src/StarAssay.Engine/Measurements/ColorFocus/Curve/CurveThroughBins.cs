using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>The smooth curve through the bins with its bootstrap replicates, zero at the reference wavelength, in every bin.</summary>
internal sealed class CurveThroughBins
{
    // Share of the size of what lines do to a profile that is taken as a standard uncertainty: found on simulated spectra.
    private const double LineShare = 0.8;

    private CurveThroughBins(int replicates, int bins)
    {
        ReferenceReplicates = new double[replicates];
        Replicates = new double[replicates, bins];
    }

    /// <summary>Curve, um.</summary>
    public double[] Value { get; private set; } = [];

    /// <summary>The same for every replicate (rows).</summary>
    public double[,] Replicates { get; }

    /// <summary>What is zero now: focus at the reference wavelength, um.</summary>
    public double ReferenceFocus { get; private set; }

    /// <summary>The same for every replicate.</summary>
    public double[] ReferenceReplicates { get; }

    /// <summary>How many times as much as their errors say the bins scatter about the curve; at least 1.</summary>
    public double Scatter { get; private set; } = 1;

    /// <summary>Fits the curve to the bins of a focus run.</summary>
    /// <param name="input">Bins and their wavelengths.</param>
    /// <param name="bins">Those that were fitted.</param>
    /// <param name="corrected">Their focus with the spectrograph's share off, um.</param>
    /// <param name="z">The same with it on.</param>
    /// <param name="sigma">Standard uncertainty of z.</param>
    /// <param name="removedError">Of the share, every bin.</param>
    /// <param name="lineBend">What lines may do to each, um.</param>
    /// <param name="replicates">Of z; what smoothness and lines add is added here.</param>
    /// <param name="referenceNm">Where the curve is zero.</param>
    /// <param name="seed">Of the random numbers.</param>
    public static CurveThroughBins FromRun(ColorFocusInput input, int[] bins, double[] corrected, double[] z, double[] sigma, double[] removedError, double[] lineBend,
        double[][] replicates, double referenceNm, int seed)
    {
        int m = bins.Length, count = replicates.Length;
        double[] nm = [.. bins.Select(j => input.Nm[j])];
        var curve = new SmoothCurve(nm.Min(), nm.Max());
        var result = new CurveThroughBins(count, input.Bins);
        double[] line = [.. lineBend.Select(v => LineShare * v)];
        double[] steep = SlopeError(nm, corrected);
        double[] weights = [.. sigma.Select((s, k) => Math.Sqrt((s * s) + Square(removedError[bins[k]]) + Square(steep[k]) + Square(line[k])))];
        double floor = Robust.Median(weights) / 5;
        weights = [.. weights.Select(w => Math.Max(w, floor))];
        int degree = Choose(curve, nm, corrected, weights, out double scatter);
        Matrix<double> solve = curve.Operator(nm, weights, degree);
        double[] coefficients = (solve * Vector<double>.Build.DenseOfArray(corrected)).ToArray();
        result.Scatter = scatter;
        double[] atReference = curve.Basis(referenceNm, degree);
        result.ReferenceFocus = SmoothCurve.Dot(atReference, coefficients);
        result.Value = [.. input.Nm.Select(w => SmoothCurve.Dot(curve.Basis(Math.Clamp(w, nm.Min(), nm.Max()), degree), coefficients) - result.ReferenceFocus)];
        var random = new Random(seed);
        for (int b = 0; b < count; b++)
        {
            // What lines do is partly the same in all bins: the fall of the light toward the violet that they make together.
            double common = ProfileFit.Gaussian(random);
            for (int k = 0; k < m; k++)
            {
                replicates[b][k] += (steep[k] * ProfileFit.Gaussian(random)) + (line[k] * ((0.8 * ProfileFit.Gaussian(random)) + (0.6 * common)));
            }

            double[] values = [.. replicates[b].Select((v, k) => (scatter * (v - z[k])) + corrected[k])];
            double[] c = (solve * Vector<double>.Build.DenseOfArray(values)).ToArray();
            result.ReferenceReplicates[b] = SmoothCurve.Dot(atReference, c);
            for (int j = 0; j < input.Bins; j++)
            {
                result.Replicates[b, j] = SmoothCurve.Dot(curve.Basis(Math.Clamp(input.Nm[j], nm.Min(), nm.Max()), degree), c) - result.ReferenceReplicates[b];
            }
        }

        return result;
    }

    /// <summary>Takes the curve of a single spectrum, which is smooth already: only the zero and the spectrograph's share are left.</summary>
    public static CurveThroughBins FromSingle(ColorFocusInput input, SingleCurve single, double[] removed, double referenceNm)
    {
        int count = single.Replicates.Length;
        var result = new CurveThroughBins(count, input.Bins);
        double removedAtReference = LinearTable.At(input.Nm, removed, referenceNm);
        result.ReferenceFocus = LinearTable.At(input.Nm, single.Smooth, referenceNm) + removedAtReference;
        result.Value = [.. single.Smooth.Select((v, j) => v + removed[j] - result.ReferenceFocus)];
        for (int b = 0; b < count; b++)
        {
            result.ReferenceReplicates[b] = LinearTable.At(input.Nm, single.Replicates[b], referenceNm) + removedAtReference;
            for (int j = 0; j < input.Bins; j++)
            {
                result.Replicates[b, j] = single.Replicates[b][j] + removed[j] - result.ReferenceReplicates[b];
            }
        }

        return result;
    }

    /// <summary>Within a bin the curve itself slopes, and cosmic rays shift its mean wavelength: two hundredths of the curve's rise
    /// within the bin are taken as a standard uncertainty (found on simulated spectra).</summary>
    private static double[] SlopeError(double[] nm, double[] z)
    {
        int m = nm.Length;
        var error = new double[m];
        for (int k = 0; k < m; k++)
        {
            int a = Math.Max(0, k - 2), b = Math.Min(m - 1, k + 2);
            error[k] = 0.02 * Math.Abs((z[b] - z[a]) / (b - a));
        }

        return error;
    }

    /// <summary>Degree of the curve by Schwarz's criterion, and the scatter about it in units of the bins' own errors.</summary>
    private static int Choose(SmoothCurve curve, double[] nm, double[] value, double[] sigma, out double scale)
    {
        int best = 0;
        double bestScore = double.MaxValue;
        scale = 1;
        int most = Math.Min(9, nm.Length / 3);
        double[] chi = new double[most + 1];
        for (int degree = 0; degree <= most; degree++)
        {
            double[] c = (curve.Operator(nm, sigma, degree) * Vector<double>.Build.DenseOfArray(value)).ToArray();
            chi[degree] = nm.Select((w, i) => Square((value[i] - SmoothCurve.Dot(curve.Basis(w, degree), c)) / sigma[i])).Sum();
        }

        // Schwarz's criterion with the scatter that the richest curve leaves.
        double unit = Math.Max(1, chi[most] / Math.Max(1, nm.Length - most - 1));
        for (int degree = Math.Min(3, most); degree <= most; degree++)
        {
            double score = (chi[degree] / unit) + ((degree + 1) * Math.Log(nm.Length));
            if (score < bestScore)
            {
                bestScore = score;
                best = degree;
                scale = Math.Sqrt(Math.Max(1, chi[degree] / Math.Max(1, nm.Length - degree - 1)));
            }
        }

        return best;
    }

    private static double Square(double x) => x * x;
}
