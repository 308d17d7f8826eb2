using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;
using System.Runtime.Intrinsics.X86;

namespace StarAssay.Engine.Numerics;

/// <summary>Sixteen floats.</summary>
internal readonly struct Lanes512(Vector512<float> v) : ILanes<Lanes512>
{
    private readonly Vector512<float> v = v;

    public static int Count => 16;

    public static Lanes512 Ramp
    {
        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        get => new(Vector512.Create(0f, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 operator +(Lanes512 a, Lanes512 b) => new(a.v + b.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 operator -(Lanes512 a, Lanes512 b) => new(a.v - b.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 operator -(Lanes512 value) => new(-value.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 operator *(Lanes512 a, Lanes512 b) => new(a.v * b.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 operator /(Lanes512 a, Lanes512 b) => new(a.v / b.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 Of(float value) => new(Vector512.Create(value));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 Load(ref float source, nint index) => new(Vector512.LoadUnsafe(ref source, (nuint)index));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static void Store(Lanes512 value, ref float target, nint index) => value.v.StoreUnsafe(ref target, (nuint)index);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 MulAdd(Lanes512 a, Lanes512 b, Lanes512 c) => new(Vector512.MultiplyAddEstimate(a.v, b.v, c.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 Min(Lanes512 a, Lanes512 b) => new(Vector512.MinNative(a.v, b.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 Max(Lanes512 a, Lanes512 b) => new(Vector512.MaxNative(a.v, b.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 Sqrt(Lanes512 value) => new(Vector512.Sqrt(value.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static (Lanes512 Sin, Lanes512 Cos) SinCos(Lanes512 value)
    {
        (Vector512<float> sin, Vector512<float> cos) = Vector512.SinCos(value.v);
        return (new(sin), new(cos));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 Exp(Lanes512 value) => new(Vector512.Exp(value.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 FirstOnes(int lanes) => new(Vector512.Create(1f) & Vector512.LessThan(Ramp.v, Vector512.Create((float)lanes)));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 KeepFirst(Lanes512 value, int lanes) => new(value.v & Vector512.LessThan(Ramp.v, Vector512.Create((float)lanes)));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static ulong Above(Lanes512 a, Lanes512 b) => Vector512.GreaterThan(a.v, b.v).ExtractMostSignificantBits();

    public static int CountBelow(Lanes512 a, Lanes512 b) => BitOperations.PopCount(Vector512.LessThan(a.v, b.v).ExtractMostSignificantBits());

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 KeepBetween(Lanes512 value, Lanes512 low, Lanes512 high) =>
        new(value.v & Vector512.GreaterThanOrEqual(value.v, low.v) & Vector512.LessThanOrEqual(value.v, high.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 OneWithin(Lanes512 value, Lanes512 reach) =>
        new(Vector512.ConditionalSelect(Vector512.LessThanOrEqual(Vector512.Abs(value.v), reach.v), Vector512.Create(1f), Vector512<float>.Zero));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 IfAtMost(Lanes512 a, Lanes512 b, Lanes512 yes, Lanes512 no) =>
        new(Vector512.ConditionalSelect(Vector512.LessThanOrEqual(a.v, b.v), yes.v, no.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 ShiftIn(Lanes512 before, Lanes512 value) => Avx512F.IsSupported
        ? new(Avx512F.AlignRight32(value.v.AsInt32(), before.v.AsInt32(), 15).AsSingle())
        : new(Vector512.Create(Lanes256.ShiftIn(before.v.GetUpper(), value.v.GetLower()), Lanes256.ShiftIn(value.v.GetLower(), value.v.GetUpper())));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 NextLane(Lanes512 value) => new(Vector512.Shuffle(value.v, Vector512.Create(1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 0)));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static float Sum(Lanes512 value) => Lanes256.Sum(new(value.v.GetLower() + value.v.GetUpper()));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 Round(Lanes512 value) => new(Vector512.Round(value.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 PowerOfTwo(Lanes512 n) => new(((Vector512.ConvertToInt32Native(n.v) + Vector512.Create(127)) << 23).AsSingle());

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static (Lanes512 Mantissa, Lanes512 Exponent) Split(Lanes512 value)
    {
        // Subtracting the bits of sqrt(1/2) makes the exponent field round at sqrt(2) instead of at 2.
        Vector512<int> bits = value.v.AsInt32();
        Vector512<int> shifted = (bits - Vector512.Create(0x3f3504f3)) & Vector512.Create(unchecked((int)0xff800000));
        return (new((bits - shifted).AsSingle()), new(Vector512.ConvertToSingle(shifted >> 23)));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 LoadUInt16(ref ushort source, nint index, bool swap)
    {
        Vector256<ushort> s = Vector256.LoadUnsafe(ref source, (nuint)index);
        s = swap ? (s << 8) | (s >>> 8) : s;
        return new(Vector512.ConvertToSingle(Vector512.WidenLower(s.ToVector512Unsafe()).AsInt32()));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 LoadInt16(ref ushort source, nint index, bool swap)
    {
        Vector256<ushort> s = Vector256.LoadUnsafe(ref source, (nuint)index);
        s = swap ? (s << 8) | (s >>> 8) : s;
        return new(Vector512.ConvertToSingle(Vector512.WidenLower(s.AsInt16().ToVector512Unsafe())));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 LoadInt16SwappedHigh(ref ushort source, nint index)
    {
        // Each word's two bytes into the upper half of a lane; the last byte is zero and fills the lower.
        Vector512<byte> s = Vector256.LoadUnsafe(ref source, (nuint)index).AsByte().ToVector512();
        s = Vector512.Shuffle(s, Vector512.Create((byte)63, 63, 1, 0, 63, 63, 3, 2, 63, 63, 5, 4, 63, 63, 7, 6, 63, 63, 9, 8, 63, 63, 11, 10, 63, 63, 13, 12,
            63, 63, 15, 14, 63, 63, 17, 16, 63, 63, 19, 18, 63, 63, 21, 20, 63, 63, 23, 22, 63, 63, 25, 24, 63, 63, 27, 26, 63, 63, 29, 28, 63, 63, 31, 30));
        return new(Vector512.ConvertToSingle(s.AsInt32()));
    }

    public static Lanes512 LoadByte(ref byte source, nint index)
    {
        Vector128<byte> s = Vector128.LoadUnsafe(ref source, (nuint)index);
        Vector256<ushort> w = Vector256.Create(Vector128.WidenLower(s), Vector128.WidenUpper(s));
        return new(Vector512.ConvertToSingle(Vector512.WidenLower(w.ToVector512Unsafe()).AsInt32()));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes512 LoadSwapped(ref float source, nint index)
    {
        Vector512<uint> s = Vector512.LoadUnsafe(ref source, (nuint)index).AsUInt32();
        Vector512<uint> odd = Vector512.Create(0x00ff00ffu);
        s = ((s & odd) << 8) | ((s >>> 8) & odd);
        return new(((s << 16) | (s >>> 16)).AsSingle());
    }
}
