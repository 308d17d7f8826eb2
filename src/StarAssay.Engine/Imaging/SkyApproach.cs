namespace StarAssay.Engine.Imaging;

/// <summary>The way from a start to the sky level and noise of a block of pixels, in steps that the caller may mix with those of
/// another block.</summary>
/// <param name="block">The pixels; none: nothing is found.</param>
/// <param name="level">Where to start, ADU; NaN: nothing is found.</param>
/// <param name="noise">The noise to start with.</param>
internal struct SkyApproach<TRounds>(PixelBlock block, float level, float noise)
    where TRounds : struct, IClipRounds
{
    private const int MostRounds = 3;
    private readonly PixelBlock block = block;
    private readonly Clipped start = new(level, noise, 0, 0);
    private Clipped now;
    private float found = float.NaN;

    /// <summary>The first round of clipping.</summary>
    public void First()
    {
        if (start.CanStart && block.Count >= BackgroundEstimator.FewestSamples)
        {
            now = start.After(TRounds.Within(block, start.Center, BackgroundEstimator.ClipAt * start.Noise), block.Count);
        }
    }

    /// <summary>Another round.</summary>
    public void Next()
    {
        if (!now.IsNear(start))
        {
            return;
        }

        (ClipSums clip, float step) = TRounds.Refine(block, now.Center, now.Noise);
        Clipped next = now.After(clip, block.Count);
        if (next.IsNear(start) && next.Rests(now))
        {
            found = now.Center + step;
        }

        now = next;
    }

    /// <summary>Level and noise; null when the rounds left the start's neighborhood or did not come to rest.</summary>
    public (float Level, float Noise)? Result()
    {
        for (int round = 2; round < MostRounds && float.IsNaN(found); round++)
        {
            Next();
        }

        return float.IsNaN(found) ? null : (found, now.Noise);
    }

    /// <summary>Where the rounds of clipping stand.</summary>
    /// <param name="Center">Clipped mean.</param>
    /// <param name="Noise">Standard deviation behind the clipped one.</param>
    /// <param name="Inside">Share of the samples within the clip.</param>
    /// <param name="Moved">Last step of the center.</param>
    private readonly record struct Clipped(float Center, float Noise, float Inside, float Moved)
    {
        // A cell of which a quarter is no sky deserves the long way; a clean one has 0.988 inside.
        private const float FewestInside = 0.75f;

        // What a round of clipping leaves of a wrong center and of a wrong noise, in a Gaussian: 2 k phi(k) / (2 Phi(k) - 1), which
        // is 1 less the variance, and the slope of ln sqrt(that variance) in ln k. Divided out, two rounds do for three.
        private const float CenterLeft = 1 - BackgroundEstimator.ClippedVariance;
        private const float NoiseLeft = 0.26f;

        /// <summary>Whether there is something to start from.</summary>
        public bool CanStart => float.IsFinite(Center) && Noise > 0;

        /// <summary>The next round.</summary>
        public Clipped After(ClipSums sums, int all)
        {
            float mean = sums.Sum / sums.Count, variance = (sums.Squares / sums.Count) - (mean * mean), moved = mean / (1 - CenterLeft);
            float noise = MathF.Sqrt(MathF.Max(variance, 0) / BackgroundEstimator.ClippedVariance);
            return new Clipped(Center + moved, Noise + ((noise - Noise) / (1 - NoiseLeft)), sums.Count / all, moved);
        }

        /// <summary>Whether it is still the same sky; no when nothing has been summed yet.</summary>
        public bool IsNear(Clipped start) =>
            Inside > FewestInside && MathF.Abs(Center - start.Center) < start.Noise && Noise > 0.6f * start.Noise && Noise < 1.6f * start.Noise;

        /// <summary>Whether another round would hardly change it. A twentieth of this step is left of it: little beside the 3 and 2 %
        /// of the noise by which center and noise of a thousand samples scatter.</summary>
        public bool Rests(Clipped before) => MathF.Abs(Moved) < 0.02f * Noise && MathF.Abs(Noise - before.Noise) < 0.02f * Noise;
    }
}
