namespace StarAssay.Engine.Imaging;

/// <content>The definition, one sample after the other.</content>
public static partial class BackgroundEstimator
{
    internal static (float Level, float Noise) AfreshScalar(ReadOnlySpan<float> samples, float guess, float guessNoise)
    {
        float low = float.MaxValue, high = float.MinValue;
        foreach (float v in samples)
        {
            low = MathF.Min(low, v);
            high = MathF.Max(high, v);
        }

        if (!(high > low))
        {
            return (low, 0);
        }

        float median = QuantileScalar(samples, 0.5f, low, high, guess - guessNoise, guess + guessNoise);
        float lower = QuantileScalar(samples, 0.1587f, low, median, median - (1.3f * guessNoise), median - (0.7f * guessNoise));
        float center = median, noise = MathF.Max(median - lower, (high - low) * 1e-6f);
        for (int round = 0; round < ClipRounds; round++)
        {
            (float n, float sum, float squares) = WithinScalar(samples, center, ClipAt * noise);
            if (n < 2)
            {
                break;
            }

            float mean = sum / n;
            center += mean;
            noise = MathF.Sqrt(MathF.Max((squares / n) - (mean * mean), 0) / ClippedVariance);
        }

        return noise > 0 ? (SoftScalar(samples, center, noise), noise) : WholeNumbers(samples, center);
    }

    /// <summary>Level and noise of samples of which most share one value: whole numbers with a noise of less than their step. The share of
    /// the values beside it tells both; a step of rounding alone scatters by 1 / sqrt(12) of it.</summary>
    /// <returns>NaN where there is nothing beside the one value but a few outliers.</returns>
    private static (float Level, float Noise) WholeNumbers(ReadOnlySpan<float> samples, float center)
    {
        float most = float.PositiveInfinity, step = float.PositiveInfinity;
        foreach (float v in samples)
        {
            most = MathF.Abs(v - center) < MathF.Abs(most - center) ? v : most;
        }

        foreach (float v in samples)
        {
            step = v != most ? MathF.Min(step, MathF.Abs(v - most)) : step;
        }

        double level = most, floor = step / Math.Sqrt(12), noise = step;
        for (int round = 0; round < 2 * ClipRounds; round++)
        {
            // Wide, since a cut at so few values takes more or less than a Gaussian's.
            double reach = Math.Max(3.5 * noise, 1.2 * step), sum = 0, squares = 0;
            int n = 0, beside = 0;
            foreach (float v in samples)
            {
                double d = v - level;
                bool inside = Math.Abs(d) <= reach;
                (n, beside, sum, squares) = inside ? (n + 1, beside + (v != most ? 1 : 0), sum + d, squares + (d * d)) : (n, beside, sum, squares);
            }

            if (beside < LeastBeside * samples.Length)
            {
                return (float.NaN, float.NaN);
            }

            double mean = sum / n;
            level += mean;
            noise = Math.Max(floor, Math.Sqrt(Math.Max(0, (squares / n) - (mean * mean))));
        }

        return ((float)level, (float)noise);
    }

    private static ClipSums WithinScalar(ReadOnlySpan<float> samples, float center, float reach)
    {
        float n = 0, sum = 0, squares = 0;
        foreach (float v in samples)
        {
            float d = v - center;
            if (d >= -reach && d <= reach)
            {
                n++;
                sum += d;
                squares += d * d;
            }
        }

        return new ClipSums(n, sum, squares);
    }

    private static float SoftScalar(ReadOnlySpan<float> samples, float center, float noise)
    {
        for (int round = 0; round < SoftRounds; round++)
        {
            float scale = 1 / (SoftReach * noise), weights = 0, sum = 0;
            foreach (float v in samples)
            {
                float d = v - center, u = d * scale, w = MathF.Max(0, 1 - (u * u));
                w *= w;
                weights += w;
                sum += w * d;
            }

            center += sum / weights;
        }

        return center;
    }

    /// <summary>A quantile by halving the interval and counting, to a hundredth of the starting width.</summary>
    private static float QuantileScalar(ReadOnlySpan<float> samples, float share, float low, float high, float tryLow, float tryHigh)
    {
        float wanted = share * samples.Length;
        int Below(ReadOnlySpan<float> s, float level)
        {
            int n = 0;
            foreach (float v in s)
            {
                n += v < level ? 1 : 0;
            }

            return n;
        }

        (low, high) = Bracket(low, high, tryLow, tryHigh, Below(samples, tryLow) <= wanted, Below(samples, tryHigh) >= wanted);
        float enough = QuantileWidth(low, high, tryLow, tryHigh);
        while (high - low > enough)
        {
            float middle = 0.5f * (low + high);
            if (middle <= low || middle >= high)
            {
                break;
            }

            if (Below(samples, middle) <= wanted)
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

    /// <summary>Uses a guessed interval when it truly holds the quantile; a NaN guess never does.</summary>
    private static (float Low, float High) Bracket(float low, float high, float tryLow, float tryHigh, bool lowHolds, bool highHolds) =>
        (lowHolds && tryLow > low && tryLow < high ? tryLow : low, highHolds && tryHigh < high && tryHigh > low ? tryHigh : high);

    /// <summary>How closely a quantile is needed: the clipped mean that follows only wants a start.</summary>
    private static float QuantileWidth(float low, float high, float tryLow, float tryHigh)
    {
        float width = tryHigh > tryLow ? 0.25f * (tryHigh - tryLow) : 1e-5f * (high - low);
        return MathF.Max(width, MathF.Max(MathF.Abs(low), MathF.Abs(high)) * 2e-7f);
    }
}
