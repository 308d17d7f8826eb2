using System.Numerics;
using System.Numerics.Tensors;
using System.Runtime.InteropServices;

namespace StarAssay.Engine.Numerics;

/// <summary>Medians by selection, without sorting everything. The spans are rearranged.</summary>
public static class Rank
{
    /// <summary>Factor that turns a median absolute deviation into a standard deviation for Gaussian noise,
    /// 1 / Phi^-1(3/4).</summary>
    public const double MadToSigma = 1.482602218505602;

    // From so many values on counting beats sorting out.
    private const int Many = 2048;

    /// <summary>Median of finite values: the middle one, or the mean of the middle two; NaN of nothing.</summary>
    public static double Median(Span<float> values)
    {
        int n = values.Length;
        if (n == 0)
        {
            return double.NaN;
        }

        if (n >= Many)
        {
            return 0.5 * ((double)Counted(values, (n - 1) / 2) + Counted(values, n / 2));
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

    /// <summary>The value at a rank by halving the range of values: each half is chosen by counting, which takes no branches and
    /// goes a register at a time, and after 32 halves no two floats are left.</summary>
    private static float Counted(ReadOnlySpan<float> values, int k)
    {
        int low = Key(TensorPrimitives.Min(values)), high = Key(TensorPrimitives.Max(values));
        while (low < high)
        {
            int middle = (int)(((long)low + high) >> 1);
            (low, high) = CountUpTo(values, Value(middle)) > k ? (low, middle) : (middle + 1, high);
        }

        return Value(low);
    }

    private static int CountUpTo(ReadOnlySpan<float> values, float limit)
    {
        ReadOnlySpan<Vector<float>> registers = MemoryMarshal.Cast<float, Vector<float>>(values);
        Vector<int> found = Vector<int>.Zero;
        var limits = new Vector<float>(limit);
        foreach (Vector<float> register in registers)
        {
            found -= Vector.LessThanOrEqual(register, limits);
        }

        int count = Vector.Sum(found);
        foreach (float value in values[(registers.Length * Vector<float>.Count)..])
        {
            count += value <= limit ? 1 : 0;
        }

        return count;
    }

    /// <summary>A whole number that grows with the value, without gaps.</summary>
    private static int Key(float value)
    {
        int bits = BitConverter.SingleToInt32Bits(value);
        return bits >= 0 ? bits : int.MinValue - bits;
    }

    private static float Value(int key) => BitConverter.Int32BitsToSingle(key >= 0 ? key : int.MinValue - key);

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
    public static T Select<T>(Span<T> values, int k)
        where T : struct, INumber<T>
    {
        int low = 0, high = values.Length - 1;
        while (low < high)
        {
            int middle = low + ((high - low) / 2);
            T a = values[low], b = values[middle], c = values[high];
            T pivot = T.Max(T.Min(a, b), T.Min(T.Max(a, b), c));
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
