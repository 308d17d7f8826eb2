using System.Buffers.Binary;
using System.Runtime.InteropServices;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>The screened search finds what smoothing every pixel finds; that in turn is held against the plain double sum.</summary>
public unsafe class MatchedFilterTests
{
    private const double Level = 1000, Noise = 30;
    private static readonly int[] Widths = [16, 17, 18, 31, 32, 33, 47, 64, 65, 100, 517];

    [Fact]
    public void The_definition_is_the_weighted_mean_of_25_pixels()
    {
        const int W = 40;
        float[] pixels = Sky(W, 3, 1.2, 7);
        List<(int X, int Row, float Value)> found = Scalar(Bytes<StoredFloat>(pixels), W, 0);
        Assert.Equal(W * MatchedFilter.Rows, found.Count);
        foreach ((int x, int row, float value) in found)
        {
            double sum = 0, weights = 0;
            for (int j = -2; j <= 2; j++)
            {
                for (int i = -2; i <= 2; i++)
                {
                    double w = Math.Exp(-0.5 * ((i * i) + (j * j)));
                    weights += w;
                    sum += w * pixels[((row + 2 + j) * W) + Math.Clamp(x + i, 0, W - 1)];
                }
            }

            // Single precision: some roundings of 6e-8 of the value.
            Assert.Equal(sum / weights, value, 3e-7 * value);
        }
    }

    /// <summary>Stars from 0.7 to 4 pixels (Gaussian sigma = half-flux radius / 1.177), at all brightnesses round the threshold.</summary>
    [Theory]
    [InlineData(0.7)]
    [InlineData(1.0)]
    [InlineData(1.5)]
    [InlineData(2.5)]
    [InlineData(4.0)]
    public void The_screen_loses_nothing(double halfFluxRadius)
    {
        int hits = 0;
        for (int trial = 0; trial < 25; trial++)
        {
            foreach (int width in Widths)
            {
                float[] pixels = Sky(width, width / 12, halfFluxRadius / 1.1774, (1000 * trial) + width);
                hits += Compare<StoredFloat>(pixels, width) + Compare<StoredUInt16>(pixels, width) + Compare<StoredFileUInt16>(pixels, width);
            }
        }

        Assert.True(hits > 5000, $"only {hits} pixels above the threshold: nothing was tested");
    }

    [Theory]
    [InlineData(float.NaN)]
    [InlineData(float.PositiveInfinity)]
    public void A_missing_pixel_is_noticed_wherever_it_stands(float missing)
    {
        foreach (int width in new[] { 16, 33, 64 })
        {
            for (int at = 0; at < width * MatchedFilter.Inputs; at += 7)
            {
                float[] pixels = Sky(width, 0, 1, 3);
                pixels[at] = missing;
                Assert.False(Run<Lanes128, StoredFloat>(Bytes<StoredFloat>(pixels), width, 0.5f, out _));
                Assert.False(Run<Lanes256, StoredFloat>(Bytes<StoredFloat>(pixels), width, 0.5f, out _));
                Assert.False(Run<Lanes512, StoredFloat>(Bytes<StoredFloat>(pixels), width, 0.5f, out _));
            }
        }
    }

    [Fact]
    public void Beside_a_missing_pixel_nothing_stays_in_the_lists()
    {
        // NaN is above no threshold, so that it is not listed, and where it stayed it hid the peaks of rows that were searched in the same memory.
        const int W = 64;
        RowHits[] hits = [.. Enumerable.Range(0, MatchedFilter.Rows).Select(_ => new RowHits(W))];
        byte** rows = stackalloc byte*[MatchedFilter.Inputs];
        float* threshold = stackalloc float[W];
        new Span<float>(threshold, W).Fill((float)(Level + Noise));
        for (int missing = 0; missing < W; missing++)
        {
            float[] pixels = Sky(W, 12, 1.2, missing);
            pixels[(6 * W) + missing] = float.NaN;
            fixed (float* all = pixels)
            {
                for (int k = 0; k < MatchedFilter.Inputs; k++)
                {
                    rows[k] = (byte*)(all + (k * W));
                }

                Assert.False(new MatchedFilter(1).Find<StoredFloat>(rows, W, new MatchedFilter.Limits(threshold, 1), hits, new MatchedFilter.Screen(W)));
            }

            foreach (RowHits row in hits)
            {
                row.Clear();
                Assert.True(row.Values.IndexOfAnyExcept(float.NegativeInfinity) < 0, $"missing in column {missing}");
            }
        }
    }

    private static int Compare<TPixels>(float[] pixels, int width)
        where TPixels : struct, IStoredPixels
    {
        byte[] bytes = Bytes<TPixels>(pixels);
        List<(int X, int Row, float Value)> truth = Scalar<TPixels>(bytes, width, Threshold);
        foreach (float below in new[] { 0f, 0.9f, 8f })
        {
            Assert.True(Run<Lanes128, TPixels>(bytes, width, below, out var a));
            Assert.True(Run<Lanes256, TPixels>(bytes, width, below, out var b));
            Assert.True(Run<Lanes512, TPixels>(bytes, width, below, out var c));
            foreach (var found in new[] { a, b, c })
            {
                Assert.Equal(truth.Select(h => (h.X, h.Row)), found.Select(h => (h.X, h.Row)));
                Assert.All(truth.Zip(found), pair => Assert.Equal(pair.First.Value, pair.Second.Value, 3e-7 * pair.First.Value));
            }
        }

        return truth.Count;
    }

    private static float Threshold => (float)(Level + (5 * Noise * new MatchedFilter(1).NoiseGain));

    private static List<(int X, int Row, float Value)> Scalar(byte[] bytes, int width, float threshold) => Scalar<StoredFloat>(bytes, width, threshold);

    private static List<(int X, int Row, float Value)> Scalar<TPixels>(byte[] bytes, int width, float threshold)
        where TPixels : struct, IStoredPixels
    {
        RowHits[] hits = Lists(width);
        float[] limit = new float[width];
        Array.Fill(limit, threshold);
        fixed (byte* b = bytes)
        fixed (float* t = limit)
        {
            byte** rows = stackalloc byte*[MatchedFilter.Inputs];
            Point(rows, b, width * TPixels.Size);
            Assert.True(new MatchedFilter(1).FindScalar<TPixels>(rows, width, t, hits));
        }

        return Flat(hits);
    }

    private static bool Run<T, TPixels>(byte[] bytes, int width, float below, out List<(int X, int Row, float Value)> found)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        RowHits[] hits = Lists(width);
        float[] limit = new float[width];
        Array.Fill(limit, Threshold);
        bool whole;
        fixed (byte* b = bytes)
        fixed (float* t = limit)
        {
            byte** rows = stackalloc byte*[MatchedFilter.Inputs];
            Point(rows, b, width * TPixels.Size);
            whole = new MatchedFilter(1).FindLanes<T, TPixels>(rows, width, new MatchedFilter.Limits(t, below), hits, new MatchedFilter.Screen(width), 0);
        }

        found = Flat(hits);
        return whole;
    }

    private static void Point(byte** rows, byte* first, int pitch)
    {
        for (int k = 0; k < MatchedFilter.Inputs; k++)
        {
            rows[k] = first + (k * pitch);
        }
    }

    private static RowHits[] Lists(int width) => [.. Enumerable.Range(0, MatchedFilter.Rows).Select(_ => new RowHits(width))];

    private static List<(int X, int Row, float Value)> Flat(RowHits[] hits)
    {
        var all = new List<(int X, int Row, float Value)>();
        for (int row = 0; row < hits.Length; row++)
        {
            for (int k = 0; k < hits[row].Count; k++)
            {
                int x = hits[row].Columns[k];
                all.Add((x, row, hits[row].Values[x]));
            }
        }

        return all;
    }

    private static float[] Sky(int width, int stars, double sigma, int seed)
    {
        var random = new Random(seed);
        float[] pixels = new float[width * MatchedFilter.Inputs];
        var places = Enumerable.Range(0, stars + 1).Select(_ => (X: width * random.NextDouble(), Y: 8 * random.NextDouble(), Peak: Noise * 30 * Math.Pow(random.NextDouble(), 2))).ToArray();
        for (int y = 0; y < MatchedFilter.Inputs; y++)
        {
            for (int x = 0; x < width; x++)
            {
                double v = Level + (Noise * Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble()));
                v += places.Sum(p => p.Peak * Math.Exp(-(((x - p.X) * (x - p.X)) + ((y - p.Y) * (y - p.Y))) / (2 * sigma * sigma)));
                pixels[(y * width) + x] = (float)Math.Round(v);
            }
        }

        return pixels;
    }

    /// <summary>Exactly as many bytes as there are pixels: a read beyond a row shows.</summary>
    private static byte[] Bytes<TPixels>(float[] pixels)
        where TPixels : struct, IStoredPixels
    {
        byte[] bytes = new byte[pixels.Length * TPixels.Size];
        for (int i = 0; i < pixels.Length; i++)
        {
            if (typeof(TPixels) == typeof(StoredFloat))
            {
                MemoryMarshal.Write(bytes.AsSpan(4 * i), pixels[i]);
            }
            else if (typeof(TPixels) == typeof(StoredUInt16))
            {
                MemoryMarshal.Write(bytes.AsSpan(2 * i), (ushort)pixels[i]);
            }
            else
            {
                BinaryPrimitives.WriteInt16BigEndian(bytes.AsSpan(2 * i), (short)(pixels[i] - 32768));
            }
        }

        return bytes;
    }
}
