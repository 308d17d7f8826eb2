namespace StarAssay.Engine.Measurements.EdgeContrast;

/// <summary>Light against the distance from the edge in bins of a quarter pixel.</summary>
internal sealed class EdgeSpread
{
    private readonly double[] sum, count, place;

    private EdgeSpread(double reach)
    {
        Reach = reach;
        int n = 2 * (int)Math.Round(reach / EdgeStrip.Bin);
        (sum, count, place, Value) = (new double[n], new double[n], new double[n], new double[n]);
    }

    /// <summary>Half the width, pixels.</summary>
    public double Reach { get; }

    /// <summary>The edge spread, at the middles of the bins.</summary>
    public double[] Value { get; }

    /// <summary>Share of the bins within two pixels of the edge that hold a pixel.</summary>
    public double Filled
    {
        get
        {
            int n = Value.Length, half = (int)(2 / EdgeStrip.Bin);
            return Enumerable.Range((n / 2) - half, 2 * half).Count(i => count[i] > 0) / (2.0 * half);
        }
    }

    /// <summary>Fewest pixels of a bin within two pixels of the edge over their mean.</summary>
    public double Evenness
    {
        get
        {
            int n = Value.Length, half = (int)(2 / EdgeStrip.Bin);
            double[] near = [.. Enumerable.Range((n / 2) - half, 2 * half).Select(i => count[i])];
            return near.Min() / Math.Max(near.Average(), 1e-9);
        }
    }

    /// <summary>Distance of a bin's middle.</summary>
    public double At(int bin) => ((bin + 0.5) * EdgeStrip.Bin) - Reach;

    /// <summary>Sums of the pieces, in so many groups along the edge.</summary>
    public static EdgeSpread[] Groups(EdgeStrip strip, double reach, int groups)
    {
        int[] good = [.. Enumerable.Range(0, strip.Pieces).Where(k => strip.Good[k])];
        int n = Math.Min(groups, good.Length);
        EdgeSpread[] found = [.. Enumerable.Range(0, n).Select(_ => new EdgeSpread(reach))];
        for (int i = 0; i < good.Length; i++)
        {
            EdgeSpread to = found[(int)((long)i * n / good.Length)];
            foreach ((double s, _, double value) in strip.Pixels(good[i]))
            {
                int bin = (int)Math.Floor((s + reach) / EdgeStrip.Bin);
                if (bin >= 0 && bin < to.sum.Length)
                {
                    to.sum[bin] += value;
                    to.count[bin]++;
                    to.place[bin] += s;
                }
            }
        }

        return found;
    }

    /// <summary>The mean of some groups.</summary>
    public static EdgeSpread Of(EdgeSpread[] groups, int without = -1)
    {
        var all = new EdgeSpread(groups[0].Reach);
        int n = all.Value.Length;
        for (int g = 0; g < groups.Length; g++)
        {
            for (int i = 0; i < n && g != without; i++)
            {
                all.sum[i] += groups[g].sum[i];
                all.count[i] += groups[g].count[i];
                all.place[i] += groups[g].place[i];
            }
        }

        all.Fill();
        return all;
    }

    /// <summary>Value and slope at a distance.</summary>
    public (double Value, double Slope) At(double distance)
    {
        int n = Value.Length;
        double at = Math.Clamp(((distance + Reach) / EdgeStrip.Bin) - 0.5, 1, n - 3);
        int i = (int)at;
        double t = at - i;

        // Slopes over a whole pixel, so that noise of the bins does not rule them.
        double Slope(int k) => (Value[Math.Min(n - 1, k + 2)] - Value[Math.Max(0, k - 2)]) / (4 * EdgeStrip.Bin);
        return (((1 - t) * Value[i]) + (t * Value[i + 1]), ((1 - t) * Slope(i)) + (t * Slope(i + 1)));
    }

    /// <summary>Distance between two levels of the step, the far dark being 0 and the bright side 1.</summary>
    public double Between(double high, double low)
    {
        double Crossing(double level)
        {
            int n = Value.Length, middle = -1;
            for (int i = 1; i < n - 1; i++)
            {
                // The last fall through the level that no later value of the bright side contradicts.
                if (Value[i] >= level && Value[i + 1] < level)
                {
                    middle = middle < 0 || Math.Abs(At(i)) < Math.Abs(At(middle)) ? i : middle;
                }
            }

            return middle < 0 ? double.NaN : At(middle) + (EdgeStrip.Bin * (Value[middle] - level) / (Value[middle] - Value[middle + 1]));
        }

        return Crossing(low) - Crossing(high);
    }

    // Means at the bins' middles: pixels that lie to one side of a middle are brought there along the slope. Empty bins from their neighbors.
    private void Fill()
    {
        int n = Value.Length;
        double[] x = new double[n];
        int[] known = [.. Enumerable.Range(0, n).Where(i => count[i] > 0)];
        if (known.Length < 2)
        {
            return;
        }

        foreach (int i in known)
        {
            Value[i] = sum[i] / count[i];
            x[i] = place[i] / count[i];
        }

        double[] raw = [.. Value];
        for (int k = 0; k < known.Length; k++)
        {
            int i = known[k], a = known[Math.Max(0, k - 1)], b = known[Math.Min(known.Length - 1, k + 1)];
            Value[i] = raw[i] + ((At(i) - x[i]) * (raw[b] - raw[a]) / Math.Max(x[b] - x[a], 1e-9));
        }

        for (int k = 0; k + 1 < known.Length; k++)
        {
            for (int i = known[k] + 1; i < known[k + 1]; i++)
            {
                double t = (i - known[k]) / (double)(known[k + 1] - known[k]);
                Value[i] = ((1 - t) * Value[known[k]]) + (t * Value[known[k + 1]]);
            }
        }

        for (int i = 0; i < known[0]; i++)
        {
            Value[i] = Value[known[0]];
        }

        for (int i = known[^1] + 1; i < n; i++)
        {
            Value[i] = Value[known[^1]];
        }
    }
}
