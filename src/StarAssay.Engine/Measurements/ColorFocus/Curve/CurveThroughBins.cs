using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>The smooth curve through the bins with its bootstrap replicates, zero at the reference wavelength, in every bin.</summary>
internal sealed class CurveThroughBins
{
    // Share of the correction for neighboring colors' light that is taken as its standard uncertainty: found on simulated spectra.
    private const double LineShare = 0.15;

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
    /// <param name="lineBend">What the correction for neighboring colors' light moved, um.</param>
    /// <param name="replicates">Of z; what smoothness and lines add is added here.</param>
    /// <param name="referenceNm">Where the curve is zero.</param>
    /// <param name="seed">Of the random numbers.</param>
    public static CurveThroughBins FromRun(ColorFocusInput input, int[] bins, double[] corrected, double[] z, double[] sigma, double[] removedError,
        double[] lineBend,
        double[][] replicates, double referenceNm, int seed)
    {
        int m = bins.Length, count = replicates.Length;
        double[] nm = [.. bins.Select(j => input.Nm[j])];
        var basis = new SplineBasis(nm.Min(), nm.Max());
        var result = new CurveThroughBins(count, input.Bins);
        double[] line = [.. lineBend.Select((_, k) => LineShare * Math.Sqrt(lineBend[Math.Max(0, k - 1)..Math.Min(m, k + 2)].Average(v => v * v)))];
        double[] steep = SlopeError(nm, corrected);
        double[] weights = [.. sigma.Select((s, k) => Math.Sqrt((s * s) + Square(removedError[bins[k]]) + Square(steep[k]) + Square(line[k])))];
        double floor = Robust.Median(weights) / 5;
        weights = [.. weights.Select(w => Math.Max(w, floor))];
        SplineSmoother smoother = SplineSmoother.Fit(basis, nm, corrected, weights);
        double scatter = smoother.Scatter;
        result.Scatter = scatter;
        double[][] at = [.. input.Nm.Select(w => w >= nm.Min() && w <= nm.Max() ? basis.At(w) : [])];
        double[] atReference = basis.At(referenceNm);
        double Curve(int j, double[] c) => at[j].Length > 0 ? SplineBasis.Dot(at[j], c) : double.NaN;
        result.ReferenceFocus = SplineBasis.Dot(atReference, smoother.Coefficients);
        result.Value = [.. input.Nm.Select((_, j) => Curve(j, smoother.Coefficients) - result.ReferenceFocus)];
        var random = new Random(seed);
        for (int b = 0; b < count; b++)
        {
            // What lines do is partly the same in all bins: the fall of the light toward the violet that they make together.
            double common = ProfileFit.Gaussian(random);
            for (int k = 0; k < m; k++)
            {
                replicates[b][k] += (steep[k] * ProfileFit.Gaussian(random)) + (line[k] * ((0.6 * ProfileFit.Gaussian(random)) + (0.8 * common)));
            }

            double[] values = [.. replicates[b].Select((v, k) => (scatter * (v - z[k])) + corrected[k])];
            double[] c = smoother.Refit(values), bias = smoother.DrawBias(random);
            c = [.. c.Select((v, k) => v + bias[k])];
            result.ReferenceReplicates[b] = SplineBasis.Dot(atReference, c);
            for (int j = 0; j < input.Bins; j++)
            {
                result.Replicates[b, j] = Curve(j, c) - result.ReferenceReplicates[b];
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
        (double[] nm, int[] inside) = single.Inside(input.Nm);
        double AtReference(double[] curve) => LinearTable.At(nm, [.. inside.Select(j => curve[j])], referenceNm) + removedAtReference;
        result.ReferenceFocus = AtReference(single.Smooth);
        result.Value = [.. single.Smooth.Select((v, j) => v + removed[j] - result.ReferenceFocus)];
        for (int b = 0; b < count; b++)
        {
            result.ReferenceReplicates[b] = AtReference(single.Replicates[b]);
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

    private static double Square(double x) => x * x;
}
