using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace StarAssay.Engine.Numerics;

/// <summary>Eight floats.</summary>
internal readonly struct Lanes256(Vector256<float> v) : ILanes<Lanes256>
{
    private readonly Vector256<float> v = v;

    public static int Count => 8;

    public static Lanes256 Ramp
    {
        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        get => new(Vector256.Create(0f, 1, 2, 3, 4, 5, 6, 7));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 operator +(Lanes256 a, Lanes256 b) => new(a.v + b.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 operator -(Lanes256 a, Lanes256 b) => new(a.v - b.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 operator -(Lanes256 value) => new(-value.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 operator *(Lanes256 a, Lanes256 b) => new(a.v * b.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 operator /(Lanes256 a, Lanes256 b) => new(a.v / b.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 Of(float value) => new(Vector256.Create(value));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 Load(ref float source, nint index) => new(Vector256.LoadUnsafe(ref source, (nuint)index));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static void Store(Lanes256 value, ref float target, nint index) => value.v.StoreUnsafe(ref target, (nuint)index);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 MulAdd(Lanes256 a, Lanes256 b, Lanes256 c) => new(Vector256.MultiplyAddEstimate(a.v, b.v, c.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 Min(Lanes256 a, Lanes256 b) => new(Vector256.MinNative(a.v, b.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 Max(Lanes256 a, Lanes256 b) => new(Vector256.MaxNative(a.v, b.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 Sqrt(Lanes256 value) => new(Vector256.Sqrt(value.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static (Lanes256 Sin, Lanes256 Cos) SinCos(Lanes256 value)
    {
        (Vector256<float> sin, Vector256<float> cos) = Vector256.SinCos(value.v);
        return (new(sin), new(cos));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 Exp(Lanes256 value) => new(Vector256.Exp(value.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 FirstOnes(int lanes) => new(Vector256.Create(1f) & Vector256.LessThan(Ramp.v, Vector256.Create((float)lanes)));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 KeepFirst(Lanes256 value, int lanes) => new(value.v & Vector256.LessThan(Ramp.v, Vector256.Create((float)lanes)));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static ulong Above(Lanes256 a, Lanes256 b) => Vector256.GreaterThan(a.v, b.v).ExtractMostSignificantBits();

    public static int CountBelow(Lanes256 a, Lanes256 b) => BitOperations.PopCount(Vector256.LessThan(a.v, b.v).ExtractMostSignificantBits());

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 KeepBetween(Lanes256 value, Lanes256 low, Lanes256 high) =>
        new(value.v & Vector256.GreaterThanOrEqual(value.v, low.v) & Vector256.LessThanOrEqual(value.v, high.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 OneWithin(Lanes256 value, Lanes256 reach) =>
        new(Vector256.ConditionalSelect(Vector256.LessThanOrEqual(Vector256.Abs(value.v), reach.v), Vector256.Create(1f), Vector256<float>.Zero));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 IfAtMost(Lanes256 a, Lanes256 b, Lanes256 yes, Lanes256 no) =>
        new(Vector256.ConditionalSelect(Vector256.LessThanOrEqual(a.v, b.v), yes.v, no.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 ShiftIn(Lanes256 before, Lanes256 value) => new(ShiftIn(before.v, value.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal static Vector256<float> ShiftIn(Vector256<float> before, Vector256<float> value) =>
        Vector256.Create(Lanes128.ShiftIn(before.GetUpper(), value.GetLower()), Lanes128.ShiftIn(value.GetLower(), value.GetUpper()));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 NextLane(Lanes256 value) => new(Vector256.Shuffle(value.v, Vector256.Create(1, 2, 3, 4, 5, 6, 7, 0)));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static float Sum(Lanes256 value) => Vector128.Sum(value.v.GetLower() + value.v.GetUpper());

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 Round(Lanes256 value) => new(Vector256.Round(value.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 PowerOfTwo(Lanes256 n) => new(((Vector256.ConvertToInt32Native(n.v) + Vector256.Create(127)) << 23).AsSingle());

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static (Lanes256 Mantissa, Lanes256 Exponent) Split(Lanes256 value)
    {
        // Subtracting the bits of sqrt(1/2) makes the exponent field round at sqrt(2) instead of at 2.
        Vector256<int> bits = value.v.AsInt32();
        Vector256<int> shifted = (bits - Vector256.Create(0x3f3504f3)) & Vector256.Create(unchecked((int)0xff800000));
        return (new((bits - shifted).AsSingle()), new(Vector256.ConvertToSingle(shifted >> 23)));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 LoadUInt16(ref ushort source, nint index, bool swap)
    {
        Vector128<ushort> s = Vector128.LoadUnsafe(ref source, (nuint)index);
        s = swap ? (s << 8) | (s >>> 8) : s;
        return new(Vector256.ConvertToSingle(Vector256.WidenLower(s.ToVector256Unsafe()).AsInt32()));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 LoadInt16(ref ushort source, nint index, bool swap)
    {
        Vector128<ushort> s = Vector128.LoadUnsafe(ref source, (nuint)index);
        s = swap ? (s << 8) | (s >>> 8) : s;
        return new(Vector256.ConvertToSingle(Vector256.WidenLower(s.AsInt16().ToVector256Unsafe())));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 LoadInt16SwappedHigh(ref ushort source, nint index)
    {
        Vector256<byte> s = Vector256.WidenLower(Vector128.LoadUnsafe(ref source, (nuint)index).ToVector256Unsafe()).AsByte();
        s = Vector256.Shuffle(s, Vector256.Create((byte)2, 3, 1, 0, 6, 7, 5, 4, 10, 11, 9, 8, 14, 15, 13, 12, 18, 19, 17, 16, 22, 23, 21, 20, 26, 27, 25, 24,
            30, 31, 29, 28));
        return new(Vector256.ConvertToSingle(s.AsInt32()));
    }

    public static Lanes256 LoadByte(ref byte source, nint index)
    {
        Vector128<ushort> w = Vector128.WidenLower(Vector128.CreateScalarUnsafe(Unsafe.ReadUnaligned<ulong>(ref Unsafe.Add(ref source, index))).AsByte());
        return new(Vector256.ConvertToSingle(Vector256.WidenLower(w.ToVector256Unsafe()).AsInt32()));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes256 LoadSwapped(ref float source, nint index)
    {
        Vector256<uint> s = Vector256.LoadUnsafe(ref source, (nuint)index).AsUInt32();
        Vector256<uint> odd = Vector256.Create(0x00ff00ffu);
        s = ((s & odd) << 8) | ((s >>> 8) & odd);
        return new(((s << 16) | (s >>> 16)).AsSingle());
    }
}
