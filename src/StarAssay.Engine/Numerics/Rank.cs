namespace StarAssay.Engine.Numerics;

/// <summary>Medians by selection, without sorting everything. The spans are rearranged.</summary>
public static class Rank
{
    /// <summary>Factor that turns a median absolute deviation into a standard deviation for Gaussian noise,
    /// 1 / Phi^-1(3/4).</summary>
    public const double MadToSigma = 1.482602218505602;

    /// <summary>Median of finite values: the middle one, or the mean of the middle two; NaN of nothing.</summary>
    public static double Median(Span<float> values)
    {
        int n = values.Length;
        if (n == 0)
        {
            return double.NaN;
        }

        float upper = Select(values, n / 2);
        if (n % 2 == 1)
        {
            return upper;
        }

        // All values below position n/2 are now at most `upper`: the largest of them is its lower neighbor.
        float lower = values[0];
        for (int i = 1; i < n / 2; i++)
        {
            lower = Math.Max(lower, values[i]);
        }

        return 0.5 * ((double)lower + upper);
    }

    /// <summary>Median absolute deviation from <paramref name="center"/>, as a standard deviation.</summary>
    /// <param name="values">Values; replaced by their deviations.</param>
    /// <param name="center">Usually the median.</param>
    public static double MadSigma(Span<float> values, double center)
    {
        for (int i = 0; i < values.Length; i++)
        {
            values[i] = (float)Math.Abs(values[i] - center);
        }

        return MadToSigma * Median(values);
    }

    /// <summary>The value that a sort would put at <paramref name="k"/> (Hoare's selection, median of three).</summary>
    public static float Select(Span<float> values, int k)
    {
        int low = 0, high = values.Length - 1;
        while (low < high)
        {
            int middle = low + ((high - low) / 2);
            float a = values[low], b = values[middle], c = values[high];
            float pivot = Math.Max(Math.Min(a, b), Math.Min(Math.Max(a, b), c));
            int i = low, j = high;
            while (i <= j)
            {
                while (values[i] < pivot)
                {
                    i++;
                }

                while (values[j] > pivot)
                {
                    j--;
                }

                if (i <= j)
                {
                    (values[i], values[j]) = (values[j], values[i]);
                    i++;
                    j--;
                }
            }

            if (k <= j)
            {
                high = j;
            }
            else if (k >= i)
            {
                low = i;
            }
            else
            {
                break;
            }
        }

        return values[k];
    }
}
