using System.Numerics.Tensors;

namespace StarAssay.Engine.Optics;

/// <summary>Values of one polynomial at many points, in whole vectors: the same recurrences as <see cref="Zernike"/>, in single
/// precision, which holds them to about 1e-6 up to radial order 15.</summary>
internal static class ZernikeRows
{
    private const int Chunk = 512;

    /// <summary>One polynomial at all points.</summary>
    public static float[] Row(ZernikeIndex mode, float[] x, float[] y) => Fill(mode, x, y, new float[x.Length]);

    /// <summary>The same into a row that is given, which is also returned.</summary>
    public static float[] Fill(ZernikeIndex mode, float[] x, float[] y, float[] row)
    {
        Span<float> work = stackalloc float[7 * Chunk];
        for (int begin = 0; begin < x.Length; begin += Chunk)
        {
            int n = Math.Min(Chunk, x.Length - begin);
            Fill(mode, x.AsSpan(begin, n), y.AsSpan(begin, n), row.AsSpan(begin, n), work);
        }

        return row;
    }

    private static void Fill(ZernikeIndex mode, ReadOnlySpan<float> x, ReadOnlySpan<float> y, Span<float> row, Span<float> work)
    {
        int n = x.Length;
        Span<float> now = work[..n];
        Radial(mode, x, y, now, work[Chunk..]);
        Span<float> re = work.Slice(3 * Chunk, n);
        Span<float> im = work.Slice(4 * Chunk, n);
        Span<float> a = work.Slice(5 * Chunk, n);
        Span<float> b = work.Slice(6 * Chunk, n);
        re.Fill((float)Zernike.Norm(mode));
        im.Clear();
        for (int k = mode.Frequency; k > 0; k--)
        {
            // (re + i im)(x + i y)
            TensorPrimitives.Multiply(im, y, a);
            TensorPrimitives.Multiply(re, y, b);
            TensorPrimitives.Multiply(re, x, re);
            TensorPrimitives.Subtract(re, a, re);
            TensorPrimitives.MultiplyAdd(im, x, b, im);
        }

        TensorPrimitives.Multiply(now, mode.M < 0 ? im : re, row);
    }

    // Jacobi's recurrence for the radial part over rho^m; the last two members take turns in the buffers.
    private static void Radial(ZernikeIndex mode, ReadOnlySpan<float> x, ReadOnlySpan<float> y, Span<float> result, Span<float> work)
    {
        int n = x.Length;
        int m = mode.Frequency;
        int order = (mode.N - m) / 2;
        Span<float> now = result;
        if (order == 0)
        {
            now.Fill(1);
            return;
        }

        Span<float> t = work[..n];
        Span<float> before = work.Slice(Chunk, n);
        Span<float> next = work.Slice(2 * Chunk, n);
        TensorPrimitives.Multiply(x, x, t);
        TensorPrimitives.MultiplyAdd(y, y, t, t);
        TensorPrimitives.Multiply(t, 2f, t);
        TensorPrimitives.Subtract(t, 1f, t);
        before.Fill(1);
        TensorPrimitives.Multiply(t, (m + 2) / 2f, now);
        TensorPrimitives.Add(now, 1 - ((m + 2) / 2f), now);
        for (int k = 2; k <= order; k++)
        {
            double two = (2 * k) + m;
            double bottom = 2.0 * k * (k + m) * (two - 2);
            TensorPrimitives.Multiply(t, (float)((two - 1) * two * (two - 2) / bottom), next);
            TensorPrimitives.Add(next, (float)(-(two - 1) * m * m / bottom), next);
            TensorPrimitives.Multiply(next, now, next);
            TensorPrimitives.Multiply(before, (float)(-2.0 * (k - 1) * (k + m - 1) * two / bottom), before);
            TensorPrimitives.Add(next, before, next);
            now.CopyTo(before);
            next.CopyTo(now);
        }
    }
}
