using System.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>One image of a star and its residuals, made ready to ask at many places whether the same image stands there again, fainter.</summary>
/// <remarks>Each quantity is kept as four images of every second column and row, so that what is two pixels apart stands side by side.</remarks>
/// <param name="window">Pixels along each side, even.</param>
internal sealed class CompanionEcho(int window)
{
    private readonly int half = window / 2;
    private readonly float[][] light = New(window), rest = New(window), weight = New(window);

    /// <summary>Sets a pixel.</summary>
    /// <param name="x">Column.</param>
    /// <param name="y">Row.</param>
    /// <param name="unit">The model's electrons.</param>
    /// <param name="over">Weighted residual over the noise, 0 where the pixel does not count.</param>
    /// <param name="trust">1 over the variance, 0 where it does not count.</param>
    public void Set(int x, int y, float unit, float over, float trust)
    {
        int part = ((y & 1) * 2) + (x & 1), at = ((y / 2) * half) + (x / 2);
        (light[part][at], rest[part][at], weight[part][at]) = (unit, over, trust);
    }

    /// <summary>Adds the products of the moved image with the residuals and with itself, over every second pixel of every second row that
    /// it covers.</summary>
    public void Correlate(int sx, int sy, ref double top, ref double bottom)
    {
        int x0 = Math.Max(0, sx), x1 = Math.Min(window, window + sx), y0 = Math.Max(0, sy), y1 = Math.Min(window, window + sy);
        int to = ((y0 & 1) * 2) + (x0 & 1), from = (((y0 - sy) & 1) * 2) + ((x0 - sx) & 1), count = (x1 - x0 + 1) / 2;
        for (int y = y0; y < y1; y += 2)
        {
            int at = ((y / 2) * half) + (x0 / 2), source = (((y - sy) / 2) * half) + ((x0 - sx) / 2);
            Row(light[from].AsSpan(source, count), rest[to].AsSpan(at, count), weight[to].AsSpan(at, count), ref top, ref bottom);
        }
    }

    private static void Row(ReadOnlySpan<float> s, ReadOnlySpan<float> r, ReadOnlySpan<float> w, ref double top, ref double bottom)
    {
        int lanes = Vector<float>.Count, i = 0;
        (Vector<float> a, Vector<float> b) = (default, default);
        for (; i <= s.Length - lanes; i += lanes)
        {
            var v = new Vector<float>(s[i..]);
            a += v * new Vector<float>(r[i..]);
            b += v * v * new Vector<float>(w[i..]);
        }

        (float p, float q) = (Vector.Sum(a), Vector.Sum(b));
        for (; i < s.Length; i++)
        {
            p += s[i] * r[i];
            q += s[i] * s[i] * w[i];
        }

        top += p;
        bottom += q;
    }

    private static float[][] New(int window) => [.. Enumerable.Range(0, 4).Select(_ => new float[window / 2 * (window / 2)])];
}
