using System.Numerics.Tensors;
using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Imaging;

/// <content>The same with one register of samples at a time; sums run in another order, so the last digits may differ.</content>
public static partial class BackgroundEstimator
{
    internal static (float Level, float Noise) RobustVectors(ReadOnlySpan<float> samples, float guess, float guessNoise) =>
        Vector512.IsHardwareAccelerated ? RobustLanes<Lanes512>(samples, guess, guessNoise)
        : Vector256.IsHardwareAccelerated ? RobustLanes<Lanes256>(samples, guess, guessNoise)
        : RobustLanes<Lanes128>(samples, guess, guessNoise);

    private static (float Level, float Noise) RobustLanes<T>(ReadOnlySpan<float> samples, float guess, float guessNoise)
        where T : struct, ILanes<T>
    {
        float low = TensorPrimitives.Min(samples), high = TensorPrimitives.Max(samples);
        if (!(high > low))
        {
            return (low, 0);
        }

        float median = QuantileLanes<T>(samples, 0.5f, low, high, guess - guessNoise, guess + guessNoise);
        float lower = QuantileLanes<T>(samples, 0.1587f, low, median, median - (1.3f * guessNoise), median - (0.7f * guessNoise));
        float center = median, noise = MathF.Max(median - lower, (high - low) * 1e-6f);
        for (int round = 0; round < ClipRounds; round++)
        {
            (float n, float sum, float squares) = Within<T>(samples, center, ClipAt * noise);
            if (n < 2)
            {
                break;
            }

            float mean = sum / n;
            center += mean;
            noise = MathF.Sqrt(MathF.Max((squares / n) - (mean * mean), 0) / ClippedVariance);
        }

        for (int round = 0; round < SoftRounds; round++)
        {
            center += Soft<T>(samples, center, SoftReach * noise);
        }

        return (center, noise);
    }

    private static float QuantileLanes<T>(ReadOnlySpan<float> samples, float share, float low, float high, float tryLow, float tryHigh)
        where T : struct, ILanes<T>
    {
        float wanted = share * samples.Length;
        (low, high) = Bracket(low, high, tryLow, tryHigh, Below<T>(samples, tryLow) <= wanted, Below<T>(samples, tryHigh) >= wanted);
        float enough = QuantileWidth(low, high, tryLow, tryHigh);
        while (high - low > enough)
        {
            float middle = 0.5f * (low + high);
            if (middle <= low || middle >= high)
            {
                break;
            }

            if (Below<T>(samples, middle) <= wanted)
            {
                low = middle;
            }
            else
            {
                high = middle;
            }
        }

        return 0.5f * (low + high);
    }

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private static int Below<T>(ReadOnlySpan<float> samples, float level)
        where T : struct, ILanes<T>
    {
        ref float first = ref MemoryMarshal.GetReference(samples);
        T limit = T.Of(level);
        int n = 0, i = 0;
        for (; i <= samples.Length - T.Count; i += T.Count)
        {
            n += T.CountBelow(T.Load(ref first, i), limit);
        }

        for (; i < samples.Length; i++)
        {
            n += samples[i] < level ? 1 : 0;
        }

        return n;
    }

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private static (float Count, float Sum, float Squares) Within<T>(ReadOnlySpan<float> samples, float center, float reach)
        where T : struct, ILanes<T>
    {
        // Deviations are summed, not values: single precision then loses nothing.
        ref float first = ref MemoryMarshal.GetReference(samples);
        T c = T.Of(center), from = T.Of(-reach), to = T.Of(reach);
        T sums = T.Of(0), squares = T.Of(0);
        int i = 0, outside = 0;
        for (; i <= samples.Length - T.Count; i += T.Count)
        {
            T d = T.Load(ref first, i) - c;
            outside += T.CountBelow(d, from) + T.CountBelow(to, d);
            d = T.KeepBetween(d, from, to);
            sums += d;
            squares = T.MulAdd(d, d, squares);
        }

        int n = i - outside;
        float sum = T.Sum(sums), square = T.Sum(squares);
        for (; i < samples.Length; i++)
        {
            float d = samples[i] - center;
            if (d >= -reach && d <= reach)
            {
                n++;
                sum += d;
                square += d * d;
            }
        }

        return (n, sum, square);
    }

    /// <summary>Mean deviation from the center under Tukey's weight.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private static float Soft<T>(ReadOnlySpan<float> samples, float center, float reach)
        where T : struct, ILanes<T>
    {
        ref float first = ref MemoryMarshal.GetReference(samples);
        float scale = 1 / reach;
        T c = T.Of(center), s = T.Of(scale), one = T.Of(1), zero = T.Of(0), weights = zero, sums = zero;
        int i = 0;
        for (; i <= samples.Length - T.Count; i += T.Count)
        {
            T d = T.Load(ref first, i) - c;
            T u = d * s;
            T w = T.Max(zero, one - (u * u));
            w *= w;
            weights += w;
            sums = T.MulAdd(w, d, sums);
        }

        float weight = T.Sum(weights), sum = T.Sum(sums);
        for (; i < samples.Length; i++)
        {
            float d = samples[i] - center, u = d * scale, w = MathF.Max(0, 1 - (u * u));
            w *= w;
            weight += w;
            sum += w * d;
        }

        return sum / weight;
    }
}
