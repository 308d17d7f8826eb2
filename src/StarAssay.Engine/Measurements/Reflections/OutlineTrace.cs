using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.Reflections;

/// <summary>An outline followed in the photo's own pixels: a blurred step is fitted in every sector, an ellipse to all of them.</summary>
internal sealed class OutlineTrace
{
    private const double LeastFirst = 2.5, ClippedSector = 0.25;

    /// <summary>Of an outline more than this share clipped decides nothing.</summary>
    public const double MostClipped = 0.4;

    private readonly PhotoEdges edges;
    private readonly bool bright;
    private readonly double clipAt;
    private double sigma;

    private OutlineTrace(PhotoEdges edges, Outline outline, bool bright)
    {
        (this.edges, this.bright, Outline) = (edges, bright, outline);
        double limit = edges.Frame.SaturationAdu;
        clipAt = double.IsFinite(limit) ? 0.985 * limit : double.PositiveInfinity;
        sigma = edges.Factor;
    }

    /// <summary>The ellipse in the photo as it is.</summary>
    public Outline Outline { get; private set; }

    /// <summary>Whether the inner side is bright.</summary>
    public bool BrightInside => bright;

    /// <summary>Points of the edge that were used, in order of their direction.</summary>
    public double[] X { get; private set; } = [];

    /// <summary>Points of the edge.</summary>
    public double[] Y { get; private set; } = [];

    /// <summary>Width of the edge from 10 to 90 %, pixels.</summary>
    public double Width => 2.5631 * sigma;

    /// <summary>Step at the edge.</summary>
    public double Step { get; private set; }

    /// <summary>Share of the outline that was used.</summary>
    public double Covered { get; private set; }

    /// <summary>Share of it that lies in the photo.</summary>
    public double Inside { get; private set; }

    /// <summary>Share of it whose bright side is clipped.</summary>
    public double Clipped { get; private set; }

    /// <summary>RMS of the departure from the ellipse.</summary>
    public double Roughness { get; private set; }

    /// <summary>Follows an outline; null where no edge is there.</summary>
    /// <param name="edges">The photo.</param>
    /// <param name="coarse">The outline in the coarse picture.</param>
    /// <param name="bright">Whether the inner side is bright.</param>
    /// <param name="gap">Distance to the next outline, pixels of the photo.</param>
    /// <param name="cancel">To stop.</param>
    public static OutlineTrace? Follow(PhotoEdges edges, Outline coarse, bool bright, double gap, CancellationToken cancel)
    {
        double f = edges.Factor, half = (f - 1) / 2;
        var trace = new OutlineTrace(edges, new Outline((coarse.X * f) + half, (coarse.Y * f) + half, coarse.R * f, coarse.G1, coarse.G2), bright);
        double most = Math.Max(3, Math.Min(0.48 * gap, 0.45 * trace.Outline.R));
        for (int lap = 0; lap < 5; lap++)
        {
            cancel.ThrowIfCancellationRequested();
            double reach = lap == 0 ? LeastFirst * f + 2 : Math.Max((lap == 1 ? 1.2 * f : 0) + 4, 2.6 * trace.sigma * 1.3 + 2);
            if (!trace.Lap(Math.Min(reach, most), lap))
            {
                return null;
            }
        }

        return trace;
    }

    private bool Lap(double reach, int lap)
    {
        Outline outline = Outline;
        int sectors = Math.Clamp((int)(2 * Math.PI * outline.R / 10), 24, 240);
        (List<(float T, float V)>[] strips, int inside) = Strips(outline, reach, sectors);
        var fits = new (double Shift, double Low, double Step, bool Good)[sectors];
        for (int k = 0; k < sectors; k++)
        {
            fits[k] = FitSector(strips[k], reach, lap == 0);
        }

        if (lap >= 1)
        {
            Sharpen(strips, fits, reach);
        }

        double usual = Robust.Median(fits.Where(s => s.Good).Select(s => s.Step));
        int[] good = [.. Enumerable.Range(0, sectors).Where(k => fits[k].Good && fits[k].Step > 0.2 * usual && Math.Abs(fits[k].Shift) < 0.7 * reach)];

        // A bright side that is clipped moves the edge: such places are left out as long as enough is left.
        int[] open = [.. good.Where(k => strips[k].Count(p => p.V >= clipAt) <= ClippedSector * strips[k].Count)];
        int clipped = good.Length - open.Length;
        (Inside, Clipped) = ((double)inside / sectors, (double)clipped / Math.Max(1, good.Length));
        int[] kept = open.Length >= Math.Max(12, (1 - MostClipped) * good.Length) ? open : good;
        if (kept.Length < 12 || kept.Length < 0.3 * sectors)
        {
            return false;
        }

        double[] x = new double[kept.Length], y = new double[kept.Length];
        for (int i = 0; i < kept.Length; i++)
        {
            double turn = ((kept[i] + 0.5) / sectors * 2 * Math.PI) - Math.PI;
            (double radius, double slope) = outline.At(turn);
            double far = radius + (fits[kept[i]].Shift * Math.Sqrt(1 + Math.Pow(slope / radius, 2)));
            (x[i], y[i]) = (outline.X + (far * Math.Cos(turn)), outline.Y + (far * Math.Sin(turn)));
        }

        (Outline next, _, double[] weight, double rms) = outline.Fit(x, y, false, lap == 0 ? 0.3 : 0.02);
        int[] used = [.. Enumerable.Range(0, x.Length).Where(i => weight[i] > 0)];
        (X, Y) = ([.. used.Select(i => x[i])], [.. used.Select(i => y[i])]);
        (Step, Covered, Roughness) = (usual, (double)used.Length / sectors, rms);
        if (!(Math.Abs(next.X - outline.X) < 0.3 * outline.R && Math.Abs(next.Y - outline.Y) < 0.3 * outline.R && next.G < 0.65)
            || used.Length < 12 || Covered < 0.3)
        {
            return false;
        }

        Outline = next;
        return true;
    }

    // Pixels within reach of the outline by sector, as distance and light; and how many sectors lie in the photo.
    private (List<(float T, float V)>[] Strips, int Inside) Strips(Outline outline, double reach, int sectors)
    {
        int w = edges.Frame.Width, h = edges.Frame.Height;
        var strips = new List<(float T, float V)>[sectors];
        for (int k = 0; k < sectors; k++)
        {
            strips[k] = [];
        }

        double outer = outline.Long + reach + 1, inner = Math.Max(0, outline.Short - reach - 1);
        for (int y = Math.Max(0, (int)(outline.Y - outer)); y <= Math.Min(h - 1, (int)(outline.Y + outer) + 1); y++)
        {
            double dy = y - outline.Y, chord = Math.Sqrt(Math.Max(0, (outer * outer) - (dy * dy)));
            double skip = Math.Abs(dy) < inner ? Math.Sqrt((inner * inner) - (dy * dy)) : 0;
            for (int x = Math.Max(0, (int)(outline.X - chord)); x <= Math.Min(w - 1, (int)(outline.X + chord) + 1); x++)
            {
                if (Math.Abs(x - outline.X) < skip)
                {
                    x = Math.Max(x, Math.Min((int)(outline.X + skip) - 1, w - 1));
                    skip = 0;
                    continue;
                }

                float v = edges.Image[(y * w) + x];
                (double distance, double turn) = outline.Of(x, y);
                if (Math.Abs(distance) <= reach && float.IsFinite(v))
                {
                    strips[(int)((turn + Math.PI) / (2 * Math.PI) * sectors * 0.9999999)].Add(((float)distance, v));
                }
            }
        }

        int inside = 0;
        for (int k = 0; k < sectors; k++)
        {
            double turn = ((k + 0.5) / sectors * 2 * Math.PI) - Math.PI, far = outline.At(turn).Radius;
            double x = outline.X + (far * Math.Cos(turn)), y = outline.Y + (far * Math.Sin(turn));
            inside += x > reach && y > reach && x < w - 1 - reach && y < h - 1 - reach ? 1 : 0;
        }

        return (strips, inside);
    }

    // A step blurred by a Gaussian: low + step Phi(way (shift - t) / sigma), bright inside for way = 1.
    private (double Shift, double Low, double Step, bool Good) FitSector(List<(float T, float V)> strip, double reach, bool search)
    {
        if (strip.Count < 8 || !strip.Any(p => p.T < -reach / 4) || !strip.Any(p => p.T > reach / 4))
        {
            return (0, 0, 0, false);
        }

        int way = bright ? 1 : -1;
        double shift = search ? Steepest(strip, reach, way) : 0, low = 0, step = 0;
        for (int turn = 0; turn < 8; turn++)
        {
            // Levels at this place are linear least squares; then one step of the place.
            double n = 0, s1 = 0, s2 = 0, v1 = 0, vp = 0;
            foreach ((float t, float v) in strip)
            {
                double p = Normal(way * (shift - t) / sigma);
                (n, s1, s2, v1, vp) = (n + 1, s1 + p, s2 + (p * p), v1 + v, vp + (p * v));
            }

            double det = (n * s2) - (s1 * s1);
            if (det < 1e-6 * n * n)
            {
                return (0, 0, 0, false);
            }

            step = ((n * vp) - (s1 * v1)) / det;
            low = (v1 - (step * s1)) / n;
            if (turn == 7)
            {
                break;
            }

            // The place with the levels' own slopes taken out of it (variable projection).
            double dd = 0, d1 = 0, dp = 0, dv = 0;
            foreach ((float t, float v) in strip)
            {
                double z = way * (shift - t) / sigma, p = Normal(z), d = step * Density(z) * way / sigma;
                (dd, d1, dp, dv) = (dd + (d * d), d1 + d, dp + (d * p), dv + (d * (v - low - (step * p))));
            }

            double a = ((d1 * s2) - (dp * s1)) / det, b = ((n * dp) - (s1 * d1)) / det, left = dd - (a * d1) - (b * dp);
            if (!(left > 1e-9 * dd))
            {
                return (0, 0, 0, false);
            }

            shift = Math.Clamp(shift + Math.Clamp(dv / left, -1.5 * sigma, 1.5 * sigma), -reach, reach);
        }

        return (shift, low, step, step > 0 && Math.Abs(shift) < 0.9 * reach);
    }

    private static double Steepest(List<(float T, float V)> strip, double reach, int way)
    {
        int bins = Math.Clamp((int)(2 * reach), 6, 24);
        double[] sum = new double[bins], count = new double[bins];
        foreach ((float t, float v) in strip)
        {
            int k = Math.Clamp((int)((t + reach) / (2 * reach) * bins), 0, bins - 1);
            (sum[k], count[k]) = (sum[k] + v, count[k] + 1);
        }

        // The cut that explains most, in the sense of Otsu, with the right sign.
        double most = 0, at = 0, inner = 0, seen = 0, total = sum.Sum(), all = count.Sum();
        for (int k = 0; k < bins - 1; k++)
        {
            (inner, seen) = (inner + sum[k], seen + count[k]);
            if (seen < 2 || all - seen < 2)
            {
                continue;
            }

            double apart = way * ((inner / seen) - ((total - inner) / (all - seen))), worth = apart > 0 ? seen * (all - seen) * apart * apart : 0;
            (most, at) = worth > most ? (worth, (2 * reach * (k + 1) / bins) - reach) : (most, at);
        }

        return at;
    }

    // One step of the blur that all sectors share.
    private void Sharpen(List<(float T, float V)>[] strips, (double Shift, double Low, double Step, bool Good)[] fits, double reach)
    {
        int way = bright ? 1 : -1;
        for (int lap = 0; lap < 4; lap++)
        {
            double dd = 0, dv = 0;
            for (int k = 0; k < strips.Length; k++)
            {
                if (!fits[k].Good)
                {
                    continue;
                }

                foreach ((float t, float v) in strips[k])
                {
                    double z = way * (fits[k].Shift - t) / sigma, d = -fits[k].Step * Density(z) * z / sigma;
                    (dd, dv) = (dd + (d * d), dv + (d * (v - fits[k].Low - (fits[k].Step * Normal(z)))));
                }
            }

            sigma = dd > 0 ? Math.Clamp(sigma + Math.Clamp(dv / dd, -0.4 * sigma, 0.6 * sigma), 0.3, Math.Max(0.3, 0.6 * reach)) : sigma;
        }
    }

    private static double Density(double z) => Math.Exp(-0.5 * z * z) / Math.Sqrt(2 * Math.PI);

    private static double Normal(double z) => 0.5 * MathNet.Numerics.SpecialFunctions.Erfc(-z / Math.Sqrt(2));
}
