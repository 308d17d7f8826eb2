using System.Numerics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>One profile (one frame, one bin) with its flux, background and center, which are solved for inside.</summary>
internal sealed partial class ProfileBlock
{
    /// <summary>Unknowns that blocks share: defocus, log seeing, blur variance.</summary>
    public const int Shared = 3;

    private readonly double[] data;
    private readonly double[] noise;
    private readonly double[]? doubt; // of what was taken off the data, moving all rows together
    private readonly bool[] used;
    private readonly double[] weight;
    private readonly double[] root; // of the weight
    private readonly double[] p;
    private readonly double[] pz;
    private readonly double[] ps;
    private readonly double[] pb;
    private readonly double[] pc;
    private readonly double gain;
    private readonly double[][] inner = [[], [], []]; // flux, offset and center as unit vectors that are free of one another
    private double weightSum; // over the rows, and of the weighted data
    private double weightedSum;
    private double trialCenter;

    // What the model was last made for: a block whose unknowns stand still keeps it.
    private (double Defocus, double Seeing, double Blur, double Center) made = (double.NaN, 0, 0, 0);

    public ProfileBlock(ProfileModel model, double[] data, double[] noise, double center, double gain, double[]? doubt = null)
    {
        this.doubt = doubt;
        Model = model;
        this.data = new double[data.Length];
        this.noise = noise;
        this.gain = gain;
        int n = data.Length;
        used = new bool[n];
        weight = new double[n];
        root = new double[n];
        p = new double[n];
        pz = new double[n];
        ps = new double[n];
        pb = new double[n];
        pc = new double[n];
        Projected = [new double[n], new double[n], new double[n]];
        Scaled = new double[n];
        Center = center;
        trialCenter = center;
        for (int r = 0; r < n; r++)
        {
            used[r] = double.IsFinite(data[r]) && double.IsFinite(noise[r]) && noise[r] > 0;
            UsedRows += used[r] ? 1 : 0;
            // The start's weights: counts of a smoothed profile, so that a low pixel is no heavier than its neighbors.
            double smooth = 0;
            int m = 0;
            for (int k = Math.Max(0, r - 1); k <= Math.Min(n - 1, r + 1); k++)
            {
                if (double.IsFinite(data[k]))
                {
                    smooth += data[k];
                    m++;
                }
            }

            Weigh(r, used[r] ? 1 / (noise[r] + (Math.Max(smooth / Math.Max(m, 1), 0) / gain)) : 0);
        }

        // Rows that are left out have no weight; a number lets sums run over them.
        for (int r = 0; r < n; r++)
        {
            this.data[r] = used[r] ? data[r] : 0;
        }

        SumWeights();
    }

    public ProfileModel Model { get; }

    public int UsedRows { get; private set; }

    public double Flux { get; private set; }

    public double Offset { get; private set; }

    public double Center { get; private set; }

    public double ChiSquare { get; private set; }

    /// <summary>Normal matrix of (defocus, log seeing, blur variance) with flux, offset and center eliminated.</summary>
    public double[,] H { get; } = new double[Shared, Shared];

    /// <summary>Gradient that belongs to it.</summary>
    public double[] G { get; } = new double[Shared];

    /// <summary>Weighted derivative rows of the shared unknowns with the inner unknowns projected out, for the bootstrap.</summary>
    public double[][] Projected { get; }

    /// <summary>Residuals over their standard deviations.</summary>
    public double[] Scaled { get; }

    private readonly double[] step = new double[Shared]; // center's step for unit steps of the shared unknowns
    private double step0; // and its own

    /// <summary>Sets the center that belongs to a step of the shared unknowns.</summary>
    public void Propose(double dz, double ds, double db) =>
        trialCenter = Center + Math.Clamp(step0 + (step[0] * dz) + (step[1] * ds) + (step[2] * db), -1.0, 1.0);

    public void Accept() => Center = trialCenter;

    public void Restore() => trialCenter = Center;

    public double Evaluate(double defocusUm, double seeingPx, double blurPx2, ProfileModel.Work work)
    {
        int n = data.Length;
        if (made != (defocusUm, seeingPx, blurPx2, trialCenter))
        {
            Model.Evaluate(defocusUm, seeingPx, blurPx2, trialCenter, work, p, pz, ps, pb, pc);
            made = (defocusUm, seeingPx, blurPx2, trialCenter);
        }

        // Flux and offset are linear: solved exactly.
        double spp = 0, sp = 0, spd = 0;
        int lanes = Vector<double>.Count, whole = n - (n % lanes);
        Vector<double> vpp = default, vp = default, vpd = default;
        for (int r = 0; r < whole; r += lanes)
        {
            Vector<double> one = new(p, r), weighted = one * new Vector<double>(weight, r);
            vp += weighted;
            vpp = Vector.MultiplyAddEstimate(weighted, one, vpp);
            vpd = Vector.MultiplyAddEstimate(weighted, new Vector<double>(data, r), vpd);
        }

        for (int r = whole; r < n; r++)
        {
            spp += weight[r] * p[r] * p[r];
            sp += weight[r] * p[r];
            spd += weight[r] * p[r] * data[r];
        }

        (spp, sp, spd) = (spp + Vector.Sum(vpp), sp + Vector.Sum(vp), spd + Vector.Sum(vpd));
        double s1 = weightSum, sd = weightedSum, det = (spp * s1) - (sp * sp);
        if (!(det > 1e-12 * spp * s1))
        {
            Flux = spd / spp;
            Offset = 0;
        }
        else
        {
            Flux = ((spd * s1) - (sd * sp)) / det;
            Offset = ((spp * sd) - (sp * spd)) / det;
        }

        double chi = 0;
        Vector<double> flux = new(Flux), offset = new(Offset), sum = default;
        for (int r = 0; r < whole; r += lanes)
        {
            Vector<double> left = (new Vector<double>(data, r) - (flux * new Vector<double>(p, r)) - offset) * new Vector<double>(root, r);
            left.CopyTo(Scaled, r);
            sum = Vector.MultiplyAddEstimate(left, left, sum);
        }

        for (int r = whole; r < n; r++)
        {
            Scaled[r] = (data[r] - (Flux * p[r]) - Offset) * root[r];
            chi += Scaled[r] * Scaled[r];
        }

        ChiSquare = chi + Vector.Sum(sum);
        return ChiSquare;
    }

    /// <summary>After <see cref="Evaluate"/>: the normal equations with the inner unknowns eliminated.</summary>
    public void Linearize()
    {
        // Orthogonalize (Gram-Schmidt in the weighted sense) p, 1, F pc; then project the shared unknowns' rows.
        int n = data.Length;
        Span<double> q0 = stackalloc double[n], q1 = stackalloc double[n], q2 = stackalloc double[n];
        Weighted(p, 1, q0);
        root.CopyTo(q1);
        Weighted(pc, Flux, q2);
        Weighted(pz, Flux, Projected[0]);
        Weighted(ps, Flux, Projected[1]);
        Weighted(pb, Flux, Projected[2]);
        Normalize(q0);
        Remove(q1, q0);
        Normalize(q1);
        Remove(q2, q0);
        Remove(q2, q1);
        double lengthC = Normalize(q2);
        step0 = lengthC > 0 ? Sums.Dot(q2, Scaled) / lengthC : 0;
        for (int i = 0; i < Shared; i++)
        {
            double[] v = Projected[i];
            step[i] = lengthC > 0 ? -Sums.Dot(q2, v) / lengthC : 0;
            Remove(v, q0);
            Remove(v, q1);
            Remove(v, q2);
        }

        inner[0] = inner[0].Length == n ? inner[0] : new double[n];
        inner[1] = inner[1].Length == n ? inner[1] : new double[n];
        inner[2] = inner[2].Length == n ? inner[2] : new double[n];
        q0.CopyTo(inner[0]);
        q1.CopyTo(inner[1]);
        q2.CopyTo(inner[2]);
        for (int i = 0; i < Shared; i++)
        {
            G[i] = Sums.Dot(Projected[i], Scaled);
            for (int j = 0; j <= i; j++)
            {
                H[i, j] = H[j, i] = Sums.Dot(Projected[i], Projected[j]);
            }
        }
    }

    /// <summary>Weights from the model instead of the data, and rejection of what stands out.</summary>
    /// <param name="scale">Noise over the expected noise so far.</param>
    public int Reweight(double scale)
    {
        int rejected = 0;
        for (int r = 0; r < data.Length; r++)
        {
            if (!used[r])
            {
                continue;
            }

            double variance = noise[r] + (Math.Max(Flux * p[r], 0) / gain), residual = data[r] - (Flux * p[r]) - Offset;
            if (residual * residual > 36 * scale * scale * variance && UsedRows > 12)
            {
                used[r] = false;
                UsedRows--;
                Weigh(r, 0);
                rejected++;
            }
            else
            {
                Weigh(r, 1 / variance);
            }
        }

        SumWeights();
        return rejected;
    }

    /// <summary>Sum over the rows of the squared light over its variance.</summary>
    public double Energy()
    {
        double sum = 0;
        for (int r = 0; r < p.Length; r++)
        {
            sum += weight[r] * Flux * p[r] * Flux * p[r];
        }

        return sum;
    }

    /// <summary>Model at the current values, for plots and tests.</summary>
    public double[] ModelProfile() => [.. p.Select(v => (Flux * v) + Offset)];

    private void SumWeights() => (weightSum, weightedSum) = (weight.Sum(), Sums.Dot(weight, data));

    /// <summary>A row of the model times a factor, over the standard deviations.</summary>
    private void Weighted(double[] row, double factor, Span<double> to)
    {
        int r = 0, lanes = Vector<double>.Count;
        var by = new Vector<double>(factor);
        for (; r <= row.Length - lanes; r += lanes)
        {
            (by * new Vector<double>(root, r) * new Vector<double>(row, r)).CopyTo(to[r..]);
        }

        for (; r < row.Length; r++)
        {
            to[r] = factor * root[r] * row[r];
        }
    }

    private void Weigh(int row, double value) => (weight[row], root[row]) = (value, Math.Sqrt(value));

    private static void Remove(Span<double> v, ReadOnlySpan<double> unit)
    {
        double s = Sums.Dot(v, unit);
        var part = new Vector<double>(s);
        int i = 0, lanes = Vector<double>.Count;
        for (; i <= v.Length - lanes; i += lanes)
        {
            (new Vector<double>(v[i..]) - (part * new Vector<double>(unit[i..]))).CopyTo(v[i..]);
        }

        for (; i < v.Length; i++)
        {
            v[i] -= s * unit[i];
        }
    }

    private static double Normalize(Span<double> v)
    {
        double s = Math.Sqrt(Sums.Dot(v, v));
        double share = s > 0 ? 1 / s : 0;
        for (int i = 0; i < v.Length && s > 0; i++)
        {
            v[i] *= share;
        }

        return s;
    }
}
