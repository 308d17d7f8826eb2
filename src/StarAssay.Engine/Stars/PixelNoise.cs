using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>Noise of pixels from what each differs by from the mean of its neighbors in the row: a sky with structure hardly does.</summary>
internal static class PixelNoise
{
    // The calmest cells: there pixels so far apart differ by noise alone.
    private const double CalmQuantile = 0.1;
    private const int Apart = 3;

    // Of differences less than that share nothing is known: all pixels alike.
    private const float LeastShare = 0.05f;

    /// <summary>Standard deviation of independent pixels whose second differences scatter so much; the samples are overwritten.</summary>
    /// <param name="samples">Whole rows of pixels.</param>
    /// <param name="width">Pixels of a row.</param>
    /// <param name="apart">How far away the neighbors are, pixels.</param>
    public static float Of(Span<float> samples, int width, int apart = 1)
    {
        int count = 0;
        for (int row = 0; row + width <= samples.Length; row += width)
        {
            // Each value is written left of all that are still read.
            for (int x = apart; x + apart < width; x++)
            {
                samples[count++] = samples[row + x] - (0.5f * (samples[row + x - apart] + samples[row + x + apart]));
            }
        }

        // Variance of a pixel less the mean of two.
        return count < BackgroundEstimator.FewestSamples ? float.NaN
            : BackgroundEstimator.Robust(samples[..count], float.NaN, float.NaN).Noise / MathF.Sqrt(1.5f);
    }

    /// <summary>Noise of pixels in each cell, from what they differ by from their next neighbors.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="cells">Its sky on a coarse mesh.</param>
    /// <param name="context">Threads.</param>
    /// <returns>ADU, NaN where pixels are missing; and the noise of the frame's pixels over what those differences make it: 1, more where pixels were mixed
    /// with their neighbors, by which the noise of the cells was multiplied; NaN where the differences say nothing.</returns>
    public static (float[] Noise, double Correlation) Of(Frame frame, SkyCells cells, RunContext context)
    {
        var reader = new CellReader(frame, (frame.Width / cells.Columns) + 1);
        float[] noise = new float[cells.Level.Length], ratios = new float[cells.Level.Length];
        int room = reader.Room((frame.Height / cells.Rows) + 1, 1);
        Sharing.For(cells.Rows, context, () => (Near: new float[room], Far: new float[room]), (j, space) =>
        {
            int y0 = (int)((long)j * cells.Height / cells.Rows), y1 = (int)((long)(j + 1) * cells.Height / cells.Rows);
            for (int i = 0; i < cells.Columns; i++)
            {
                int x0 = (int)((long)i * cells.Width / cells.Columns), x1 = (int)((long)(i + 1) * cells.Width / cells.Columns), at = (j * cells.Columns) + i;
                int count = reader.Decode(new CellReader.Cell(x0, x1, y0, y1, 1), space.Near, out bool missing);
                space.Near.AsSpan(0, count).CopyTo(space.Far);
                float near = missing ? float.NaN : Of(space.Near.AsSpan(0, count), x1 - x0), far = Of(space.Far.AsSpan(0, count), x1 - x0, Apart);
                noise[at] = near;
                ratios[at] = near > LeastShare * far ? far / near : float.NaN;
            }
        });
        float[] known = [.. ratios.Where(float.IsFinite).Order()];
        double correlation = known.Length == 0 ? double.NaN : known[(int)(CalmQuantile * known.Length)];
        return ([.. noise.Select(n => (float)(correlation * n))], correlation);
    }
}
