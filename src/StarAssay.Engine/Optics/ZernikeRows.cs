using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics;

/// <summary>Values of polynomials of one angular frequency at many points, in whole registers and single precision: one recurrence gives all radial
/// orders, and one power of x + iy both angles. The scalar twin in double precision is <see cref="ZernikeAnnulus.Evaluate"/>.</summary>
internal static class ZernikeRows
{
    /// <summary>Circle polynomials up to any order that is asked for here.</summary>
    public static ZernikeAnnulus Circle { get; } = new(0, 32);

    /// <summary>One circle polynomial at any number of points.</summary>
    public static float[] Row(ZernikeIndex mode, float[] x, float[] y)
    {
        int whole = Fft.Padded(x.Length);
        float[] row = new float[whole], wholeX = new float[whole], wholeY = new float[whole];
        x.CopyTo(wholeX, 0);
        y.CopyTo(wholeY, 0);
        Fill(Circle, [mode], [row], wholeX, wholeY);
        return row[..x.Length];
    }

    /// <summary>Several polynomials of one family that have the same frequency.</summary>
    /// <param name="family">Circle polynomials or those of a ring.</param>
    /// <param name="modes">Polynomials with equal |m|.</param>
    /// <param name="rows">Filled: a row a polynomial, a value a point.</param>
    /// <param name="x">Pupil x of each point, a multiple of sixteen of them.</param>
    /// <param name="y">Pupil y of each point.</param>
    public static void Fill(ZernikeAnnulus family, IReadOnlyList<ZernikeIndex> modes, IReadOnlyList<float[]> rows, float[] x, float[] y)
    {
        ArgumentOutOfRangeException.ThrowIfNotEqual(x.Length % Fft.Lanes, 0, nameof(x));
        int m = modes[0].Frequency;
        float[]?[] cosine = new float[(modes.Max(j => j.N) - m) / 2 + 1][], sine = new float[cosine.Length][];
        for (int j = 0; j < modes.Count; j++)
        {
            ArgumentOutOfRangeException.ThrowIfNotEqual(modes[j].Frequency, m, nameof(modes));
            ArgumentOutOfRangeException.ThrowIfLessThan(rows[j].Length, x.Length, nameof(rows));
            (modes[j].M < 0 ? sine : cosine)[(modes[j].N - m) / 2] = rows[j];
        }

        var step = family.Recurrence(m);
        if (Vector512.IsHardwareAccelerated)
        {
            FillLanes<Lanes512>(m, step, cosine, sine, x, y);
        }
        else if (Vector256.IsHardwareAccelerated)
        {
            FillLanes<Lanes256>(m, step, cosine, sine, x, y);
        }
        else
        {
            FillLanes<Lanes128>(m, step, cosine, sine, x, y);
        }
    }

    private static void FillLanes<T>(int m, ZernikeRecurrence step, float[]?[] cosine, float[]?[] sine, float[] x, float[] y)
        where T : struct, ILanes<T>
    {
        ref float x0 = ref MemoryMarshal.GetArrayDataReference(x);
        ref float y0 = ref MemoryMarshal.GetArrayDataReference(y);
        for (int p = 0; p < x.Length; p += T.Count)
        {
            T px = T.Load(ref x0, p), py = T.Load(ref y0, p);
            T u = T.MulAdd(px, px, py * py);
            (T re, T im) = (T.Of(step.First), T.Of(0));
            for (int k = 0; k < m; k++)
            {
                (re, im) = ((re * px) - (im * py), (re * py) + (im * px));
            }

            T before = T.Of(0), now = T.Of(1);
            for (int k = 0; k < cosine.Length; k++)
            {
                if (cosine[k] is { } even)
                {
                    T.Store(now * re, ref MemoryMarshal.GetArrayDataReference(even), p);
                }

                if (sine[k] is { } odd)
                {
                    T.Store(now * im, ref MemoryMarshal.GetArrayDataReference(odd), p);
                }

                T next = (T.MulAdd(u, T.Of(step.Slope[k]), T.Of(step.Shift[k])) * now) - (T.Of(step.Back[k]) * before);
                (before, now) = (now, next);
            }
        }
    }
}
