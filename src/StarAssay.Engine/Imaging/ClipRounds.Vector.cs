using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics.X86;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Imaging;

/// <summary>The same, one register after the other; sums run in another order, so the last digits may differ. Rows must hold a
/// register. Their last register overlaps the one before, and the lanes that were counted there weigh nothing.</summary>
internal readonly unsafe struct ClipRoundsLanes<T, TPixels> : IClipRounds
    where T : struct, ILanes<T>
    where TPixels : struct, IStoredPixels
{
    // Blocks to the right that are asked for: cells follow one another along the rows.
    private const int Ahead = 2;

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    public static ClipSums Within(in PixelBlock block, float center, float reach)
    {
        // Deviations are summed, not values: single precision then loses nothing. The call comes first, since it would push
        // all other registers into memory.
        T fresh = Fresh(block.Width);
        T c = T.Of(center), r = T.Of(reach), zero = T.Of(0), missing = zero;
        T n = zero, sum = zero, squares = zero, lastN = zero, lastSum = zero, lastSquares = zero;
        nint last = block.Width - T.Count, near = Ahead * (nint)block.Width * TPixels.Size, end = block.Width * (nint)TPixels.Size;
        byte* row = block.First;
        for (int j = 0; j < block.Rows; j++, row += block.Pitch * TPixels.Size)
        {
            if (Sse.IsSupported && block.Rows > 1)
            {
                for (nint b = 0; b < end; b += 64)
                {
                    Sse.Prefetch0(row + near + b);
                }
            }

            for (nint x = 0; x < last; x += T.Count)
            {
                T v = TPixels.Load<T>(ref *row, x), d = v - c, w = T.OneWithin(d, r);
                n += w;
                w *= d;
                sum += w;
                squares = T.MulAdd(w, d, squares);
                if (TPixels.MayBeMissing)
                {
                    missing = T.MulAdd(v, zero, missing);
                }
            }

            T vl = TPixels.Load<T>(ref *row, last), dl = vl - c, wl = T.OneWithin(dl, r) * fresh;
            lastN += wl;
            wl *= dl;
            lastSum += wl;
            lastSquares = T.MulAdd(wl, dl, lastSquares);
            if (TPixels.MayBeMissing)
            {
                missing = T.MulAdd(vl, zero, missing);
            }
        }

        return new ClipSums(T.Sum(n + lastN + missing), T.Sum(sum + lastSum), T.Sum(squares + lastSquares));
    }

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    public static (ClipSums Clip, float Step) Refine(in PixelBlock block, float center, float noise)
    {
        T fresh = Fresh(block.Width);
        T c = T.Of(center), s = T.Of(1 / (BackgroundEstimator.SoftReach * noise)), one = T.Of(1), zero = T.Of(0);
        T share = T.Of(BackgroundEstimator.ClipShare), minusFive = T.Of(-5);
        T n = zero, sum = zero, squares = zero, push = zero, slope = zero;
        T lastN = zero, lastSum = zero, lastSquares = zero, lastPush = zero, lastSlope = zero;
        nint last = block.Width - T.Count;
        byte* row = block.First;
        for (int j = 0; j < block.Rows; j++, row += block.Pitch * TPixels.Size)
        {
            for (nint x = 0; x < last; x += T.Count)
            {
                T d = TPixels.Load<T>(ref *row, x) - c, u = d * s, q = u * u, w = T.Max(zero, one - q);
                slope = T.MulAdd(w, T.MulAdd(minusFive, q, one), slope);
                push = T.MulAdd(w * w, d, push);
                w = T.IfAtMost(q, share, one, zero);
                n += w;
                w *= d;
                sum += w;
                squares = T.MulAdd(w, d, squares);
            }

            T dl = TPixels.Load<T>(ref *row, last) - c, ul = dl * s, ql = ul * ul, wl = T.Max(zero, one - ql), kept = wl * fresh;
            lastSlope = T.MulAdd(kept, T.MulAdd(minusFive, ql, one), lastSlope);
            lastPush = T.MulAdd(wl * kept, dl, lastPush);
            wl = T.IfAtMost(ql, share, fresh, zero);
            lastN += wl;
            wl *= dl;
            lastSum += wl;
            lastSquares = T.MulAdd(wl, dl, lastSquares);
        }

        return (new ClipSums(T.Sum(n + lastN), T.Sum(sum + lastSum), T.Sum(squares + lastSquares)), T.Sum(push + lastPush) / T.Sum(slope + lastSlope));
    }

    /// <summary>1 in the lanes of a row's last register that no other one holds.</summary>
    private static T Fresh(int width) => T.Of(1) - T.FirstOnes(((width + T.Count - 1) / T.Count * T.Count) - width);
}
