using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <content>The same, a register of columns at a time.</content>
internal static partial class MoffatKernel
{
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    internal static void FillLanes<T>(Stamp stamp, Area area, in Moffat m, float variance, float perElectron, bool fine, Space space)
        where T : struct, ILanes<T>
    {
        float[] nodes = fine ? Nodes3 : Nodes2, weights = fine ? Weights3 : Weights2;
        ref float pixels = ref MemoryMarshal.GetArrayDataReference(stamp.Pixels);
        ref float columns = ref MemoryMarshal.GetArrayDataReference(space.Columns);
        nint stride = space.Stride;
        T p = T.Of((float)m.P), k = T.Of((float)m.K), r = T.Of((float)m.R), minusBeta = T.Of(-(float)m.Beta), amplitude = T.Of((float)m.A);
        T betaAmplitude = T.Of((float)(m.Beta * m.A)), one = T.Of(1), zero = T.Of(0);
        for (int j = 0; j < area.Height; j++)
        {
            nint at = j * area.Padded;
            for (int i = 0; i < area.Padded; i += T.Count, at += T.Count)
            {
                T left = T.Of(area.X + i - (float)m.X) + T.Ramp;
                T s0 = zero, s1 = zero, s2 = zero, s3 = zero, s4 = zero, s5 = zero, s6 = zero;
                for (int b = 0; b < nodes.Length; b++)
                {
                    T dy = T.Of(area.Y + j - (float)m.Y + nodes[b]);
                    T kdy = k * dy, rdy = r * dy;
                    for (int a = 0; a < nodes.Length; a++)
                    {
                        T dx = left + T.Of(nodes[a]);
                        T px = T.MulAdd(p, dx, kdy), py = T.MulAdd(k, dx, rdy);
                        T t = T.MulAdd(px, dx, T.MulAdd(py, dy, one));
                        (T log, T inverse) = LaneMath.Log2AndInverse(t);
                        T value = LaneMath.Exp2(T.Max(minusBeta * log, T.Of(-120))) * T.Of(weights[a] * weights[b]);
                        T g = betaAmplitude * value * inverse;
                        T gx = g * dx, gy = g * dy;
                        s0 += value;
                        s1 = T.MulAdd(g, px, s1);
                        s2 = T.MulAdd(g, py, s2);
                        s3 = T.MulAdd(gx, dx, s3);
                        s4 = T.MulAdd(gx, dy, s4);
                        s5 = T.MulAdd(gy, dy, s5);
                        s6 = T.MulAdd(value, log, s6);
                    }
                }

                T model = amplitude * s0;
                T deviation = T.Sqrt(T.MulAdd(T.Of(perElectron), T.Max(model, zero), T.Of(variance)));
                T scale = (i + T.Count <= area.Width ? one : T.FirstOnes(area.Width - i)) / deviation;
                T.Store(s0 * scale, ref columns, at);
                T twice = scale + scale;
                T.Store(s1 * twice, ref columns, at + stride);
                T.Store(s2 * twice, ref columns, at + (2 * stride));
                T.Store(zero - (s3 * scale), ref columns, at + (3 * stride));
                T.Store(zero - (s4 * twice), ref columns, at + (4 * stride));
                T.Store(zero - (s5 * scale), ref columns, at + (5 * stride));
                T.Store(s6 * scale * T.Of((float)(-0.69314718 * m.A)), ref columns, at + (6 * stride));
                T data = T.Load(ref pixels, ((area.Y + j) * stamp.Stride) + area.X + i);
                T.Store((data - model) * scale, ref columns, at + (7 * stride));
            }
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    internal static void DrawRoundLanes<T>(Stamp stamp, Area area, double x, double y, in PixelSeries m)
        where T : struct, ILanes<T>
    {
        ref float pixels = ref MemoryMarshal.GetArrayDataReference(stamp.Pixels);
        T perSquare = T.Of(m.PerSquare), minusBeta = T.Of(-m.Beta), amplitude = T.Of(m.Amplitude), one = T.Of(1);
        T c1 = T.Of(m.C1), c2 = T.Of(m.C2), c3 = T.Of(m.C3), c4 = T.Of(m.C4);
        for (int i = 0; i < area.Padded; i += T.Count)
        {
            T dx = T.Of((float)(area.X + i - x)) + T.Ramp, square = T.MulAdd(dx * dx, perSquare, one);
            T light = amplitude * (i + T.Count <= area.Width ? one : T.FirstOnes(area.Width - i));
            float dy = (float)(area.Y - y);
            nint at = (area.Y * stamp.Stride) + area.X + i;
            for (int j = 0; j < area.Height; j++, dy++, at += stamp.Stride)
            {
                (T log, T w) = LaneMath.Log2AndInverse(square + T.Of(dy * dy * m.PerSquare));
                T series = T.MulAdd(T.MulAdd(T.MulAdd(T.MulAdd(c4, w, c3), w, c2), w, c1), w, one);
                T value = LaneMath.Exp2(T.Max(minusBeta * log, T.Of(-120)));
                T.Store(value * series * light, ref pixels, at);
            }
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    internal static void DrawLanes<T>(Stamp stamp, Area area, in Moffat m, bool fine)
        where T : struct, ILanes<T>
    {
        float[] nodes = fine ? Nodes3 : Nodes2, weights = fine ? Weights3 : Weights2;
        ref float pixels = ref MemoryMarshal.GetArrayDataReference(stamp.Pixels);
        T p = T.Of((float)m.P), k = T.Of((float)m.K), r = T.Of((float)m.R), minusBeta = T.Of(-(float)m.Beta), one = T.Of(1), zero = T.Of(0);
        for (int j = 0; j < area.Height; j++)
        {
            for (int i = 0; i < area.Padded; i += T.Count)
            {
                T left = T.Of(area.X + i - (float)m.X) + T.Ramp, sum = zero;
                for (int b = 0; b < nodes.Length; b++)
                {
                    T dy = T.Of(area.Y + j - (float)m.Y + nodes[b]);
                    for (int a = 0; a < nodes.Length; a++)
                    {
                        T dx = left + T.Of(nodes[a]);
                        T t = T.MulAdd(T.MulAdd(p, dx, k * dy), dx, T.MulAdd(T.MulAdd(k, dx, r * dy), dy, one));
                        T value = LaneMath.Exp2(T.Max(minusBeta * LaneMath.Log2(t), T.Of(-120)));
                        sum = T.MulAdd(value, T.Of(weights[a] * weights[b]), sum);
                    }
                }

                T inside = i + T.Count <= area.Width ? one : T.FirstOnes(area.Width - i);
                T.Store(T.Of((float)m.A) * sum * inside, ref pixels, ((area.Y + j) * stamp.Stride) + area.X + i);
            }
        }
    }
}
