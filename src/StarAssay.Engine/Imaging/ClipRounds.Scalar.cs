namespace StarAssay.Engine.Imaging;

/// <summary>The definition, one pixel after the other.</summary>
internal readonly unsafe struct ClipRoundsScalar<TPixels> : IClipRounds
    where TPixels : struct, IStoredPixels
{
    public static ClipSums Within(in PixelBlock block, float center, float reach)
    {
        float n = 0, sum = 0, squares = 0, missing = 0;
        byte* row = block.First;
        for (int j = 0; j < block.Rows; j++, row += block.Pitch * TPixels.Size)
        {
            for (int x = 0; x < block.Width; x++)
            {
                float v = TPixels.Load(ref *row, x), d = v - center;
                missing += 0 * v;
                if (d >= -reach && d <= reach)
                {
                    n++;
                    sum += d;
                    squares += d * d;
                }
            }
        }

        return new ClipSums(n + missing, sum, squares);
    }

    public static (ClipSums Clip, float Step) Refine(in PixelBlock block, float center, float noise)
    {
        float scale = 1 / (BackgroundEstimator.SoftReach * noise), n = 0, sum = 0, squares = 0, push = 0, slope = 0;
        byte* row = block.First;
        for (int j = 0; j < block.Rows; j++, row += block.Pitch * TPixels.Size)
        {
            for (int x = 0; x < block.Width; x++)
            {
                float d = TPixels.Load(ref *row, x) - center, u = d * scale, q = u * u, w = MathF.Max(0, 1 - q);
                push += w * w * d;
                slope += w * (1 - (5 * q));
                if (q <= BackgroundEstimator.ClipShare)
                {
                    n++;
                    sum += d;
                    squares += d * d;
                }
            }
        }

        return (new ClipSums(n, sum, squares), push / slope);
    }
}
