namespace StarAssay.Engine.Measurements.ColorFocus;

/// <content>Refits to residuals of random sign.</content>
internal sealed partial class ProfileBlock
{
    /// <summary>How much smaller the fit makes the residual of each row than its error is: the root of 1 - leverage.</summary>
    /// <remarks>Few rows hold the light and therefore most of the leverage, so a mean over all rows would not do (the correction HC2
    /// of MacKinnon and White 1985, J. Econometrics 29, 305).</remarks>
    /// <param name="row">Row of the profile.</param>
    /// <param name="v">Covariance of the block's shared unknowns from the whole fit.</param>
    public double Shrinkage(int row, double[,] v)
    {
        double h = (inner[0][row] * inner[0][row]) + (inner[1][row] * inner[1][row]) + (inner[2][row] * inner[2][row]);
        for (int i = 0; i < Shared; i++)
        {
            for (int j = 0; j < Shared; j++)
            {
                h += Projected[i][row] * Projected[j][row] * v[i, j];
            }
        }

        return Math.Sqrt(1 - Math.Clamp(h, 0, 0.9));
    }

    /// <summary>How the gradient moves with what was taken off the data, for one standard deviation of that.</summary>
    public double[] Drift()
    {
        var drift = new double[Shared];
        for (int r = 0; r < data.Length && doubt is not null; r++)
        {
            double by = root[r] * doubt[r];
            for (int i = 0; i < Shared; i++)
            {
                drift[i] += Projected[i][r] * by;
            }
        }

        return drift;
    }

    /// <summary>Gradients of refits to residuals of random sign, and to the light taken off as it is known: of each its shared values.</summary>
    /// <param name="replicates">How many refits.</param>
    /// <param name="v">Covariance of the shared values from the whole fit.</param>
    /// <param name="random">Of this block.</param>
    public double[] SignedSums(int replicates, double[,] v, Random random)
    {
        // Covariance of the sums: of each row the product of its terms.
        double zz = 0, zs = 0, zb = 0, ss = 0, sb = 0, bb = 0;
        for (int r = 0; r < data.Length; r++)
        {
            if (weight[r] > 0)
            {
                double error = Scaled[r] / Shrinkage(r, v);
                double z = Projected[0][r] * error, s = Projected[1][r] * error, b = Projected[2][r] * error;
                zz += z * z;
                zs += z * s;
                zb += z * b;
                ss += s * s;
                sb += s * b;
                bb += b * b;
            }
        }

        // Its root, line by line (Cholesky); what has no scatter of its own gets none.
        double l00 = Math.Sqrt(zz), l10 = l00 > 0 ? zs / l00 : 0, l20 = l00 > 0 ? zb / l00 : 0;
        double l11 = Math.Sqrt(Math.Max(0, ss - (l10 * l10))), l21 = l11 > 0 ? (sb - (l10 * l20)) / l11 : 0;
        double l22 = Math.Sqrt(Math.Max(0, bb - (l20 * l20) - (l21 * l21)));
        double[] drift = Drift(), sums = new double[Shared * replicates];
        for (int b = 0; b < replicates; b++)
        {
            (double one, double two) = ProfileFit.TwoGaussians(random);
            (double three, double off) = ProfileFit.TwoGaussians(random);
            sums[Shared * b] = (l00 * one) + (off * drift[0]);
            sums[(Shared * b) + 1] = (l10 * one) + (l11 * two) + (off * drift[1]);
            sums[(Shared * b) + 2] = (l20 * one) + (l21 * two) + (l22 * three) + (off * drift[2]);
        }

        return sums;
    }

    /// <summary>A copy whose data are the model plus the residuals with random signs.</summary>
    public ProfileBlock Resample(Random random, double[,] v)
    {
        var fake = new double[data.Length];
        double off = doubt is null ? 0 : ProfileFit.Gaussian(random);
        for (int r = 0; r < data.Length; r++)
        {
            double sign = (random.Next(2) == 0 ? -1 : 1) / Shrinkage(r, v);
            fake[r] = used[r] ? (Flux * p[r]) + Offset + (sign * (data[r] - (Flux * p[r]) - Offset)) + (off * (doubt?[r] ?? 0)) : double.NaN;
        }

        var copy = new ProfileBlock(Model, fake, noise, Center, gain, doubt) { Flux = Flux, made = made };
        (double[] From, double[] To)[] same =
        [
            (weight, copy.weight), (root, copy.root), (p, copy.p), (pz, copy.pz), (ps, copy.ps), (pb, copy.pb), (pc, copy.pc),
        ];
        foreach ((double[] from, double[] to) in same)
        {
            Array.Copy(from, to, from.Length);
        }

        copy.SumWeights();
        return copy;
    }
}
