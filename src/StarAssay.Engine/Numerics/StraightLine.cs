using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;

namespace StarAssay.Engine.Numerics;

/// <summary>Fills an array with a straight line.</summary>
internal static class StraightLine
{
    /// <summary>target[k] = start + k slope.</summary>
    public static void Fill(Span<float> target, float start, float slope)
    {
        int done = !Vector128.IsHardwareAccelerated ? 0
            : Vector512.IsHardwareAccelerated ? FillLanes<Lanes512>(target, start, slope)
            : Vector256.IsHardwareAccelerated ? FillLanes<Lanes256>(target, start, slope)
            : FillLanes<Lanes128>(target, start, slope);
        FillScalar(target, start, slope, done);
    }

    internal static void FillScalar(Span<float> target, float start, float slope, int from = 0)
    {
        for (int k = from; k < target.Length; k++)
        {
            target[k] = float.MultiplyAddEstimate(k, slope, start);
        }
    }

    /// <summary>Whole registers; returns how many floats they filled.</summary>
    internal static int FillLanes<T>(Span<float> target, float start, float slope)
        where T : struct, ILanes<T>
    {
        ref float first = ref MemoryMarshal.GetReference(target);
        T s = T.Of(start), d = T.Of(slope), k = T.Ramp, step = T.Of(T.Count);
        int i = 0;
        for (; i <= target.Length - T.Count; i += T.Count)
        {
            T.Store(T.MulAdd(k, d, s), ref first, i);
            k += step;
        }

        return i;
    }
}
