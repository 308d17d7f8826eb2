using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Tests.Numerics;

/// <summary>Truth: the double-precision sum that defines the transform.</summary>
public class FftTests
{
    [Theory]
    [InlineData(16, 16, 0, 0, 16)]
    [InlineData(48, 31, -15, -20, 40)]
    [InlineData(64, 64, -32, -32, 64)]
    [InlineData(96, 50, -25, -17, 33)]
    [InlineData(128, 1, 0, 0, 128)]
    [InlineData(144, 70, -35, -50, 100)]
    [InlineData(32, 17, 3, 5, 15)]
    public void Pruned_transforms_follow_the_sum(int n, int rows, int shift, int first, int count)
    {
        var random = new Random(n);
        double[,] re = new double[rows, rows];
        double[,] im = new double[rows, rows];
        var source = new SplitMatrix(rows, rows);
        for (int j = 0; j < rows; j++)
        {
            for (int i = 0; i < rows; i++)
            {
                source.Re[(j * source.Stride) + i] = (float)(re[j, i] = (float)(random.NextDouble() - 0.5));
                source.Im[(j * source.Stride) + i] = (float)(im[j, i] = (float)(random.NextDouble() - 0.5));
            }
        }

        var fft = new Fft(n);
        var scratch = new FftScratch();
        var middle = new SplitMatrix(rows, count);
        var target = new SplitMatrix(count, count);
        fft.Pass(source, rows, shift, middle, first, count, 0, rows, scratch);
        fft.Pass(middle, rows, shift, target, first, count, 0, count, scratch);
        (double[,] wantRe, double[,] wantIm) = FftScalar.Transform(re, im, n, shift, first, count);
        double largest = 0;
        double worst = 0;
        for (int j = 0; j < count; j++)
        {
            for (int i = 0; i < count; i++)
            {
                largest = Math.Max(largest, Math.Abs(wantRe[j, i]));
                worst = Math.Max(worst, Math.Abs(target.Re[(j * target.Stride) + i] - wantRe[j, i]));
                worst = Math.Max(worst, Math.Abs(target.Im[(j * target.Stride) + i] - wantIm[j, i]));
            }
        }

        // Single precision: 6e-8 a rounding, about log2(n) of them one after the other, growing as their root.
        Assert.InRange(worst / largest, 0, 1e-6);
    }

    [Theory]
    [InlineData(256)]
    [InlineData(384)]
    [InlineData(512)]
    [InlineData(576)]
    public void There_and_back_is_the_identity(int n)
    {
        var random = new Random(n);
        var a = new SplitMatrix(n, n);
        var b = new SplitMatrix(n, n);
        foreach (ref float v in a.Re)
        {
            v = (float)random.NextDouble();
        }

        float[] before = a.Re.ToArray();
        var fft = new Fft(n);
        var scratch = new FftScratch();
        fft.Pass(a, n, 0, b, 0, n, 0, n, scratch);
        fft.Pass(b, n, 0, a, 0, n, 0, n, scratch);
        fft.Pass(a.Exchanged, n, 0, b.Exchanged, 0, n, 0, n, scratch);
        fft.Pass(b.Exchanged, n, 0, a.Exchanged, 0, n, 0, n, scratch);
        double worst = 0;
        for (int k = 0; k < before.Length; k++)
        {
            worst = Math.Max(worst, Math.Abs((a.Re[k] / ((double)n * n)) - before[k]));
        }

        Assert.InRange(worst, 0, 2e-6);
    }

    [Theory]
    [InlineData(0)]
    [InlineData(20)]
    [InlineData(100)]
    public void Sizes_that_are_not_offered_are_refused(int n) =>
        Assert.Equal("fft.size", Assert.Throws<StarAssay.Engine.Results.InputException>(() => new Fft(n)).Code);
}
