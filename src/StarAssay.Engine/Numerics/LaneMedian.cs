using System.Collections.Concurrent;
using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;

namespace StarAssay.Engine.Numerics;

/// <summary>Medians of many equally long lists side by side, one list in each lane of the registers.</summary>
/// <remarks>Batcher's odd-even merge sort (Batcher 1968, AFIPS Spring Joint Computing Conference 32, 307): its comparisons do not
/// depend on what is compared, so that all lanes take them together.</remarks>
internal static class LaneMedian
{
    private static readonly ConcurrentDictionary<int, int[]> Networks = new();

    /// <summary>Medians of lists without NaN; leaves the values in another order.</summary>
    /// <param name="values">First values of all lists, then the second, and so on: `length` rows of `stride` values.</param>
    /// <param name="length">Values in each list, at least one.</param>
    /// <param name="stride">Lists, a multiple of the register's lanes.</param>
    /// <param name="median">One for each list.</param>
    public static void Find<T>(Span<T> values, int length, int stride, Span<double> median)
        where T : struct, INumber<T>
    {
        if (values.Length < length * stride || stride % Vector<T>.Count != 0 || median.Length < stride)
        {
            throw new ArgumentException("Lengths do not fit.", nameof(values));
        }

        int[] network = Networks.GetOrAdd(length, MakeNetwork);
        ref T first = ref MemoryMarshal.GetReference(values);
        for (int lane = 0; lane < stride; lane += Vector<T>.Count)
        {
            ref T column = ref Unsafe.Add(ref first, lane);
            for (int i = 0; i < network.Length; i += 2)
            {
                ref T low = ref Unsafe.Add(ref column, network[i] * stride), high = ref Unsafe.Add(ref column, network[i + 1] * stride);
                Vector<T> a = Vector.LoadUnsafe(ref low), b = Vector.LoadUnsafe(ref high);
                Vector.Min(a, b).StoreUnsafe(ref low);
                Vector.Max(a, b).StoreUnsafe(ref high);
            }
        }

        ReadOnlySpan<T> upper = values.Slice(length / 2 * stride, stride), lower = length % 2 == 1 ? upper : values.Slice(((length / 2) - 1) * stride, stride);
        for (int i = 0; i < stride; i++)
        {
            median[i] = length % 2 == 1 ? double.CreateChecked(upper[i]) : 0.5 * (double.CreateChecked(lower[i]) + double.CreateChecked(upper[i]));
        }
    }

    /// <summary>Pairs of places to be put in order, one after the other.</summary>
    private static int[] MakeNetwork(int length)
    {
        var pairs = new List<int>();
        for (int p = 1; p < length; p *= 2)
        {
            for (int k = p; k >= 1; k /= 2)
            {
                for (int j = k % p; j <= length - 1 - k; j += 2 * k)
                {
                    for (int i = 0; i <= Math.Min(k - 1, length - j - k - 1); i++)
                    {
                        if ((i + j) / (2 * p) == (i + j + k) / (2 * p))
                        {
                            pairs.Add(i + j);
                            pairs.Add(i + j + k);
                        }
                    }
                }
            }
        }

        return [.. pairs];
    }
}
