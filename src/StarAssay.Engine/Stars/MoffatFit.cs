using System.Numerics.Tensors;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Fits a pixel-integrated Moffat profile to a stamp by Gauss-Newton steps with Marquardt's damping; no allocation for a star.
/// </summary>
internal sealed class MoffatFit
{
    private const int N = Moffat.Count;
    private const int MostRounds = 12;

    // Narrower profiles, in pixels, are integrated by three nodes a side.
    private const double FineFwhm = 1.8;

    // A free exponent beyond is no longer told by the pixels.
    private const double LargestBeta = 50;

    // A step that lowers chi^2 by less than this is not worth the next one.
    private const double Enough = 2e-3;

    private readonly MoffatKernel.Space space;
    private readonly double[] normal = new double[N * N];
    private readonly double[] work = new double[N * N];
    private readonly double[] right = new double[N];
    private readonly double[] byBeta = new double[N];
    private readonly double[] step = new double[N];
    private float[] solved = [];

    public MoffatFit(int half)
    {
        int side = (2 * half) + 1;
        space = new MoffatKernel.Space((side + Stamp.Step) * side);
    }

    /// <summary>What came out.</summary>
    /// <param name="Model">The profile.</param>
    /// <param name="FwhmError">Standard uncertainty of its FWHM, scaled by the root of chi^2 per degree of freedom when that is
    /// above 1.</param>
    /// <param name="XError">Standard uncertainty of the center along x, scaled likewise.</param>
    /// <param name="YError">Standard uncertainty of the center along y.</param>
    /// <param name="ChiSquare">Chi^2 per degree of freedom.</param>
    /// <param name="Converged">Whether the steps came to rest.</param>
    internal readonly record struct Outcome(Moffat Model, double FwhmError, double XError, double YError, double ChiSquare, bool Converged)
    {
        /// <summary>What is left over of the pixels' variance beyond the sky's, the light there, and the sky's variance in all of them: for the gain.</summary>
        public (double Excess, double Light, double Sky) Left { get; init; }

        /// <summary>How the FWHM goes with an exponent that was given, the other unknowns fitted again; 0 where the exponent was fitted too.</summary>
        public double FwhmPerBeta { get; init; }
    }

    /// <summary>Fits one star.</summary>
    /// <param name="stamp">Its pixels, sky subtracted.</param>
    /// <param name="start">Center and second moments.</param>
    /// <param name="beta">First (or, when not freed, only) value of beta.</param>
    /// <param name="freeBeta">Whether beta is fitted too.</param>
    /// <param name="noise">Noise of a sky pixel.</param>
    /// <param name="gain">Electrons per ADU; NaN leaves the star's photon noise out.</param>
    /// <param name="reach">Half side of the square of pixels used.</param>
    /// <param name="left">Whether to say what is left over.</param>
    public Outcome Fit(Stamp stamp, Ellipse start, double beta, bool freeBeta, double noise, double gain, int reach, bool left = false)
    {
        Moffat m = Start(start, beta);
        int cx = (int)Math.Round(m.X), cy = (int)Math.Round(m.Y);
        int x0 = Math.Max(0, cx - reach), x1 = Math.Min(stamp.Side - 1, cx + reach), y0 = Math.Max(0, cy - reach), y1 = Math.Min(stamp.Side - 1, cy + reach);
        var area = new MoffatKernel.Area(x0, y0, x1 - x0 + 1, y1 - y0 + 1);
        int count = area.Padded * area.Height, unknowns = freeBeta ? N : N - 1;
        float variance = (float)(noise * noise), perElectron = double.IsNaN(gain) ? 0 : (float)(1 / gain);
        bool fine = m.Fwhm < FineFwhm;
        double widest = 2 * stamp.Side;
        MoffatKernel.Fill(stamp, area, m, variance, perElectron, fine, space);
        double chi = Normal(count, unknowns), damping = 1e-3, filled = m.A;
        bool converged = false;
        for (int round = 0; round < MostRounds; round++)
        {
            if (!Solve(unknowns, damping))
            {
                break;
            }

            double gain2 = 0;
            for (int i = 0; i < unknowns; i++)
            {
                gain2 += step[i] * right[i];
            }

            Moffat next = Moved(m, freeBeta);
            if (next.P > 0 && next.R > 0 && next.Det > 0 && next.Fwhm < widest && next.A > 0 && next.Beta > 1.05 && (next.Beta < LargestBeta || !freeBeta)
                && Math.Abs(next.X - start.X) < 2 && Math.Abs(next.Y - start.Y) < 2)
            {
                // The last step is far smaller than the noise: where it leads need not be looked at.
                if (gain2 < Math.Max(Enough, 1e-4 * chi))
                {
                    m = next;
                    converged = true;
                    break;
                }

                MoffatKernel.Fill(stamp, area, next, variance, perElectron, fine, space);
                filled = next.A;
                double nextChi = MoffatKernel.ChiSquare(space, count);

                // Weights follow the model, so where the profile is no Moffat chi^2 may rise by a percent on the way to rest.
                if (nextChi <= chi * 1.05)
                {
                    m = next;
                    chi = Normal(count, unknowns);
                    damping = Math.Max(1e-6, damping * 0.1);
                    continue;
                }
            }

            damping *= 20;
            if (damping > 1e6)
            {
                break;
            }
        }

        double perFreedom = chi / Math.Max(1, (area.Width * area.Height) - unknowns);
        if (!converged || !Solve(unknowns, 0))
        {
            return new Outcome(m, double.NaN, double.NaN, double.NaN, perFreedom, converged);
        }

        double scale = Math.Sqrt(Math.Max(1, perFreedom));
        Span<double> fwhm = stackalloc double[N], x = stackalloc double[N], y = stackalloc double[N];
        FwhmSlope(m, fwhm);
        x[1] = y[2] = 1;
        var outcome = new Outcome(m, scale * m.Fwhm * Error(fwhm, unknowns), scale * Error(x, unknowns), scale * Error(y, unknowns), perFreedom,
            true)
        { FwhmPerBeta = freeBeta ? 0 : m.Fwhm * ByBeta(fwhm, unknowns) };
        return left ? outcome with { Left = Left(area, count, filled, variance, perElectron, unknowns) } : outcome;
    }

    /// <summary>Variance of the residuals beyond the sky's, over the pixels brighter than the noise; each pixel counts by the share of it that
    /// the fit's unknowns have not taken up (one less its leverage).</summary>
    private (double Excess, double Light, double Sky) Left(MoffatKernel.Area area, int count, double amplitude, float variance, float perElectron,
        int unknowns)
    {
        ReadOnlySpan<float> leverage = Leverage(count, unknowns), byAmplitude = space.Columns.AsSpan(0, count),
            residuals = space.Columns.AsSpan(N * space.Stride, count);
        double excess = 0, light = 0, sky = 0;
        for (int j = 0; j < area.Height; j++)
        {
            for (int at = j * area.Padded; at < (j * area.Padded) + area.Width; at++)
            {
                // The column is the light over its own standard deviation, v / sqrt(variance + v / gain) = c: solved for v.
                double c = amplitude * byAmplitude[at], linear = c * c * perElectron;
                double value = 0.5 * (linear + Math.Sqrt((linear * linear) + (4 * c * c * variance)));
                if (value * value > variance)
                {
                    double weighted = variance + (value * perElectron), free = Math.Max(0, 1 - (double)leverage[at]);
                    excess += (residuals[at] * (double)residuals[at] * weighted) - (free * variance);
                    light += free * value;
                    sky += variance * (double)variance;
                }
            }
        }

        return (excess, light, Math.Sqrt(sky));
    }

    /// <summary>What of each pixel the unknowns have taken up: the square of its row of derivatives by the factor in <see cref="work"/>.</summary>
    private ReadOnlySpan<float> Leverage(int count, int unknowns)
    {
        if (solved.Length < (N + 1) * count)
        {
            solved = new float[(N + 1) * count];
        }

        Span<float> leverage = solved.AsSpan(N * count, count);
        leverage.Clear();
        for (int k = 0; k < unknowns; k++)
        {
            Span<float> row = solved.AsSpan(k * count, count);
            float pivot = (float)(1 / work[(k * N) + k]);
            TensorPrimitives.Multiply(space.Columns.AsSpan(k * space.Stride, count), pivot, row);
            for (int l = 0; l < k; l++)
            {
                TensorPrimitives.MultiplyAdd(solved.AsSpan(l * count, count), -(float)work[(k * N) + l] * pivot, row, row);
            }

            TensorPrimitives.MultiplyAdd(row, row, leverage, leverage);
        }

        return leverage;
    }

    /// <summary>A Moffat of that beta with the ellipse's shape; its adaptive Gaussian is narrower than its FWHM says by a few
    /// percent, which the first step mends.</summary>
    private static Moffat Start(Ellipse e, double beta)
    {
        double cxx = Math.Max(0.1, e.Cxx - (1.0 / 12)), cyy = Math.Max(0.1, e.Cyy - (1.0 / 12)), cxy = e.Cxy;
        double det = (cxx * cyy) - (cxy * cxy);
        if (!(det > 0.05 * cxx * cyy))
        {
            cxy = 0;
            det = cxx * cyy;
        }

        // FWHM = 2.2 sigma: Q = (2^(1/beta) - 1) at FWHM / 2.
        double scale = (Math.Pow(2, 1 / beta) - 1) / (1.1 * 1.1);
        double p = scale * cyy / det, r = scale * cxx / det, k = -scale * cxy / det;
        return new Moffat { A = e.Flux * (beta - 1) * Math.Sqrt((p * r) - (k * k)) / Math.PI, X = e.X, Y = e.Y, P = p, K = k, R = r, Beta = beta };
    }

    private Moffat Moved(in Moffat m, bool freeBeta)
    {
        Moffat n = m;
        n.A += step[0];
        n.X += step[1];
        n.Y += step[2];
        n.P += step[3];
        n.K += step[4];
        n.R += step[5];
        n.Beta += freeBeta ? step[6] : 0;
        return n;
    }

    /// <summary>Normal matrix and right side from what the work space holds; returns chi^2.</summary>
    private double Normal(int count, int unknowns)
    {
        const int Columns = MoffatKernel.Columns;
        Span<float> products = stackalloc float[Columns * Columns];
        MoffatKernel.Products(space, count, products);
        for (int i = 0; i < unknowns; i++)
        {
            for (int j = 0; j < unknowns; j++)
            {
                normal[(i * N) + j] = products[(i * Columns) + j];
            }

            right[i] = products[(i * Columns) + N];
            byBeta[i] = products[(i * Columns) + N - 1];
        }

        return products[(N * Columns) + N];
    }

    /// <summary>Cholesky factor of the damped normal matrix into <see cref="work"/>, then the step.</summary>
    private bool Solve(int n, double damping)
    {
        for (int i = 0; i < n; i++)
        {
            for (int j = 0; j <= i; j++)
            {
                double sum = normal[(i * N) + j] * (i == j ? 1 + damping : 1);
                for (int k = 0; k < j; k++)
                {
                    sum -= work[(i * N) + k] * work[(j * N) + k];
                }

                if (i == j)
                {
                    if (!(sum > 0))
                    {
                        return false;
                    }

                    work[(i * N) + i] = Math.Sqrt(sum);
                }
                else
                {
                    work[(i * N) + j] = sum / work[(j * N) + j];
                }
            }
        }

        Back(right, step, n);
        return true;
    }

    private void Back(ReadOnlySpan<double> b, Span<double> x, int n)
    {
        for (int i = 0; i < n; i++)
        {
            double sum = b[i];
            for (int k = 0; k < i; k++)
            {
                sum -= work[(i * N) + k] * x[k];
            }

            x[i] = sum / work[(i * N) + i];
        }

        for (int i = n - 1; i >= 0; i--)
        {
            double sum = x[i];
            for (int k = i + 1; k < n; k++)
            {
                sum -= work[(k * N) + i] * x[k];
            }

            x[i] = sum / work[(i * N) + i];
        }
    }

    /// <summary>d ln FWHM = -1/4 d ln(P R - K^2) + d/dbeta [1/2 ln(2^(1/beta) - 1)].</summary>
    private static void FwhmSlope(in Moffat m, Span<double> slope)
    {
        slope[3] = -0.25 * m.R / m.Det;
        slope[4] = 0.5 * m.K / m.Det;
        slope[5] = -0.25 * m.P / m.Det;
        double root = Math.Pow(2, 1 / m.Beta);
        slope[6] = -0.5 * Math.Log(2) / (m.Beta * m.Beta) * root / (root - 1);
    }

    /// <summary>What a given exponent, larger by one, changes by way of itself and of the others' new best values.</summary>
    private double ByBeta(ReadOnlySpan<double> slope, int n)
    {
        Span<double> moved = stackalloc double[N];
        Back(byBeta, moved, n);
        double sum = slope[N - 1];
        for (int i = 0; i < n; i++)
        {
            sum -= slope[i] * moved[i];
        }

        return sum;
    }

    /// <summary>Standard uncertainty of what changes with the unknowns by these slopes, from the covariance.</summary>
    private double Error(ReadOnlySpan<double> slope, int n)
    {
        Span<double> solved = stackalloc double[N];
        Back(slope, solved, n);
        double variance = 0;
        for (int i = 0; i < n; i++)
        {
            variance += slope[i] * solved[i];
        }

        return Math.Sqrt(Math.Max(0, variance));
    }
}
