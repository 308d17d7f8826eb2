using System.Numerics.Tensors;
using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Imaging;

/// <content>The same with one register of samples at a time; sums run in another order, so the last digits may differ.</content>
public static partial class BackgroundEstimator
{
    internal static (float Level, float Noise) AfreshVectors(ReadOnlySpan<float> samples, float guess, float guessNoise) =>
        Vector512.IsHardwareAccelerated ? AfreshLanes<Lanes512>(samples, guess, guessNoise)
        : Vector256.IsHardwareAccelerated ? AfreshLanes<Lanes256>(samples, guess, guessNoise)
        : AfreshLanes<Lanes128>(samples, guess, guessNoise);

    private static (float Level, float Noise) AfreshLanes<T>(ReadOnlySpan<float> samples, float guess, float guessNoise)
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

        if (!(noise > 0))
        {
            return WholeNumbers(samples, center);
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

    /// <summary>Count, sum and sum of squares of the deviations up to a reach.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private static ClipSums Within<T>(ReadOnlySpan<float> samples, float center, float reach)
        where T : struct, ILanes<T>
    {
        // Deviations are summed, not values: single precision then loses nothing. Two of each sum, since one addition must
        // wait for the one before.
        ref float first = ref MemoryMarshal.GetReference(samples);
        T c = T.Of(center), r = T.Of(reach), n0 = T.Of(0), n1 = n0, sum0 = n0, sum1 = n0, square0 = n0, square1 = n0;
        int i = 0;
        for (; i <= samples.Length - (2 * T.Count); i += 2 * T.Count)
        {
            T d0 = T.Load(ref first, i) - c, d1 = T.Load(ref first, i + T.Count) - c;
            T w0 = T.OneWithin(d0, r), w1 = T.OneWithin(d1, r);
            n0 += w0;
            n1 += w1;
            w0 *= d0;
            w1 *= d1;
            sum0 += w0;
            sum1 += w1;
            square0 = T.MulAdd(w0, d0, square0);
            square1 = T.MulAdd(w1, d1, square1);
        }

        float n = T.Sum(n0 + n1), sum = T.Sum(sum0 + sum1), square = T.Sum(square0 + square1);
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

        return new ClipSums(n, sum, square);
    }

    /// <summary>Mean deviation from the center under Tukey's weight.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private static float Soft<T>(ReadOnlySpan<float> samples, float center, float reach)
        where T : struct, ILanes<T>
    {
        ref float first = ref MemoryMarshal.GetReference(samples);
        float scale = 1 / reach;
        T c = T.Of(center), s = T.Of(scale), one = T.Of(1), zero = T.Of(0), weights0 = zero, weights1 = zero, sums0 = zero, sums1 = zero;
        int i = 0;
        for (; i <= samples.Length - (2 * T.Count); i += 2 * T.Count)
        {
            T d0 = T.Load(ref first, i) - c, d1 = T.Load(ref first, i + T.Count) - c;
            T u0 = d0 * s, u1 = d1 * s;
            T w0 = T.Max(zero, one - (u0 * u0)), w1 = T.Max(zero, one - (u1 * u1));
            w0 *= w0;
            w1 *= w1;
            weights0 += w0;
            weights1 += w1;
            sums0 = T.MulAdd(w0, d0, sums0);
            sums1 = T.MulAdd(w1, d1, sums1);
        }

        float weight = T.Sum(weights0 + weights1), sum = T.Sum(sums0 + sums1);
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
