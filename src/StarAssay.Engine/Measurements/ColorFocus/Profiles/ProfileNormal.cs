using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Normal equations of many profiles that share unknowns: each profile knows of few of them.</summary>
/// <remarks>A bin's own unknowns meet those of the frames but no other bin's. Put first, they cost next to nothing.</remarks>
internal sealed class ProfileNormal(ProfileLayout layout)
{
    private readonly int n = layout.Count;
    private readonly int[] place = layout.Place;
    private readonly double[] matrix = new double[layout.Count * layout.Count];
    private readonly double[] right = new double[layout.Count];
    private readonly SkylineCholesky cholesky = new(layout.First);

    /// <summary>Sums the equations of all blocks and of the priors at a point.</summary>
    public void Sum(IReadOnlyList<ProfileBlock> blocks, double[] x, double[] priorMean, double[] priorSigma)
    {
        Array.Clear(matrix);
        Array.Clear(right);
        for (int k = 0; k < blocks.Count; k++)
        {
            int[] at = layout.Unknowns[k];
            double[] c = layout.Derivative[k];
            ProfileBlock b = blocks[k];
            int size = at.Length;
            for (int i = 0; i < size; i++)
            {
                double c0 = c[i], c1 = c[size + i], c2 = c[(2 * size) + i];
                right[at[i]] += (c0 * b.G[0]) + (c1 * b.G[1]) + (c2 * b.G[2]);
                double h0 = (c0 * b.H[0, 0]) + (c1 * b.H[1, 0]) + (c2 * b.H[2, 0]);
                double h1 = (c0 * b.H[0, 1]) + (c1 * b.H[1, 1]) + (c2 * b.H[2, 1]);
                double h2 = (c0 * b.H[0, 2]) + (c1 * b.H[1, 2]) + (c2 * b.H[2, 2]);
                Span<double> row = matrix.AsSpan(at[i] * n, n);
                for (int j = 0; j <= i; j++)
                {
                    row[at[j]] += (h0 * c[j]) + (h1 * c[size + j]) + (h2 * c[(2 * size) + j]);
                }
            }
        }

        for (int u = 0; u < n; u++)
        {
            double w = 1 / (priorSigma[u] * priorSigma[u]);
            matrix[(place[u] * n) + place[u]] += w;
            right[place[u]] += w * (priorMean[u] - x[u]);
        }
    }

    /// <summary>The step that the equations ask for, with a share of the diagonal added.</summary>
    public double[] Step(double damping)
    {
        cholesky.Factor(matrix, damping + 1e-11);
        var step = (double[])right.Clone();
        cholesky.Solve(step);
        return Unknowns(step);
    }

    /// <summary>By how much a step would lessen the squared misfit if the model were linear.</summary>
    public double Gain(double[] step)
    {
        double gain = 0;
        for (int u = 0; u < n; u++)
        {
            gain += right[place[u]] * step[u];
        }

        return gain;
    }

    /// <summary>Steps for other right sides, in place.</summary>
    public void SolveFor(double[][] rights)
    {
        cholesky.Factor(matrix, 1e-11);
        foreach (double[] r in rights)
        {
            var placed = new double[n];
            for (int u = 0; u < n; u++)
            {
                placed[place[u]] = r[u];
            }

            cholesky.Solve(placed);
            Unknowns(placed).CopyTo(r, 0);
        }
    }

    /// <summary>The inverse of the normal matrix, in the order of the unknowns.</summary>
    public double[,] Covariance()
    {
        cholesky.Factor(matrix, 1e-11);
        double[] inverse = cholesky.Inverse();
        var result = new double[n, n];
        for (int u = 0; u < n; u++)
        {
            for (int v = 0; v < n; v++)
            {
                result[u, v] = inverse[(place[u] * n) + place[v]];
            }
        }

        return result;
    }

    /// <summary>The normal matrix and the right side, in the order of the unknowns.</summary>
    public (double[,] Matrix, double[] Right) Plain()
    {
        var result = new double[n, n];
        for (int u = 0; u < n; u++)
        {
            for (int v = 0; v < n; v++)
            {
                int row = Math.Max(place[u], place[v]), column = Math.Min(place[u], place[v]);
                result[u, v] = matrix[(row * n) + column];
            }
        }

        return (result, Unknowns(right));
    }

    private double[] Unknowns(double[] placed)
    {
        var result = new double[n];
        for (int u = 0; u < n; u++)
        {
            result[u] = placed[place[u]];
        }

        return result;
    }
}
