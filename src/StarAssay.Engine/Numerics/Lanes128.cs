using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;
using System.Runtime.Intrinsics.X86;

namespace StarAssay.Engine.Numerics;

/// <summary>Four floats.</summary>
internal readonly struct Lanes128(Vector128<float> v) : ILanes<Lanes128>
{
    private readonly Vector128<float> v = v;

    public static int Count => 4;

    public static Lanes128 Ramp
    {
        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        get => new(Vector128.Create(0f, 1, 2, 3));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 operator +(Lanes128 a, Lanes128 b) => new(a.v + b.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 operator -(Lanes128 a, Lanes128 b) => new(a.v - b.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 operator -(Lanes128 value) => new(-value.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 operator *(Lanes128 a, Lanes128 b) => new(a.v * b.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 operator /(Lanes128 a, Lanes128 b) => new(a.v / b.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 Of(float value) => new(Vector128.Create(value));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 Load(ref float source, nint index) => new(Vector128.LoadUnsafe(ref source, (nuint)index));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static void Store(Lanes128 value, ref float target, nint index) => value.v.StoreUnsafe(ref target, (nuint)index);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 MulAdd(Lanes128 a, Lanes128 b, Lanes128 c) => new(Vector128.MultiplyAddEstimate(a.v, b.v, c.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 Min(Lanes128 a, Lanes128 b) => new(Vector128.MinNative(a.v, b.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 Max(Lanes128 a, Lanes128 b) => new(Vector128.MaxNative(a.v, b.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 Sqrt(Lanes128 value) => new(Vector128.Sqrt(value.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static (Lanes128 Sin, Lanes128 Cos) SinCos(Lanes128 value)
    {
        (Vector128<float> sin, Vector128<float> cos) = Vector128.SinCos(value.v);
        return (new(sin), new(cos));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 Exp(Lanes128 value) => new(Vector128.Exp(value.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 FirstOnes(int lanes) => new(Vector128.Create(1f) & Vector128.LessThan(Ramp.v, Vector128.Create((float)lanes)));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 KeepFirst(Lanes128 value, int lanes) => new(value.v & Vector128.LessThan(Ramp.v, Vector128.Create((float)lanes)));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static ulong Above(Lanes128 a, Lanes128 b) => Vector128.GreaterThan(a.v, b.v).ExtractMostSignificantBits();

    public static int CountBelow(Lanes128 a, Lanes128 b) => BitOperations.PopCount(Vector128.LessThan(a.v, b.v).ExtractMostSignificantBits());

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 KeepBetween(Lanes128 value, Lanes128 low, Lanes128 high) =>
        new(value.v & Vector128.GreaterThanOrEqual(value.v, low.v) & Vector128.LessThanOrEqual(value.v, high.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 OneWithin(Lanes128 value, Lanes128 reach) =>
        new(Vector128.ConditionalSelect(Vector128.LessThanOrEqual(Vector128.Abs(value.v), reach.v), Vector128.Create(1f), Vector128<float>.Zero));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 IfAtMost(Lanes128 a, Lanes128 b, Lanes128 yes, Lanes128 no) =>
        new(Vector128.ConditionalSelect(Vector128.LessThanOrEqual(a.v, b.v), yes.v, no.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 ShiftIn(Lanes128 before, Lanes128 value) => new(ShiftIn(before.v, value.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal static Vector128<float> ShiftIn(Vector128<float> before, Vector128<float> value) => Ssse3.IsSupported
        ? Ssse3.AlignRight(value.AsByte(), before.AsByte(), 12).AsSingle()
        : Vector128.Shuffle(value, Vector128.Create(0, 0, 1, 2)).WithElement(0, before.GetElement(3));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 NextLane(Lanes128 value) => new(Vector128.Shuffle(value.v, Vector128.Create(1, 2, 3, 0)));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static float Sum(Lanes128 value) => Vector128.Sum(value.v);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 Round(Lanes128 value) => new(Vector128.Round(value.v));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 PowerOfTwo(Lanes128 n) => new(((Vector128.ConvertToInt32Native(n.v) + Vector128.Create(127)) << 23).AsSingle());

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static (Lanes128 Mantissa, Lanes128 Exponent) Split(Lanes128 value)
    {
        // Subtracting the bits of sqrt(1/2) makes the exponent field round at sqrt(2) instead of at 2.
        Vector128<int> bits = value.v.AsInt32();
        Vector128<int> shifted = (bits - Vector128.Create(0x3f3504f3)) & Vector128.Create(unchecked((int)0xff800000));
        return (new((bits - shifted).AsSingle()), new(Vector128.ConvertToSingle(shifted >> 23)));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 LoadUInt16(ref ushort source, nint index, bool swap)
    {
        Vector128<ushort> s = Vector128.CreateScalarUnsafe(
            Unsafe.ReadUnaligned<ulong>(ref Unsafe.As<ushort, byte>(ref Unsafe.Add(ref source, index)))).AsUInt16();
        s = swap ? (s << 8) | (s >>> 8) : s;
        return new(Vector128.ConvertToSingle(Vector128.WidenLower(s).AsInt32()));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 LoadInt16(ref ushort source, nint index, bool swap)
    {
        Vector128<ushort> s = Vector128.CreateScalarUnsafe(
            Unsafe.ReadUnaligned<ulong>(ref Unsafe.As<ushort, byte>(ref Unsafe.Add(ref source, index)))).AsUInt16();
        s = swap ? (s << 8) | (s >>> 8) : s;
        return new(Vector128.ConvertToSingle(Vector128.WidenLower(s.AsInt16())));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 LoadInt16SwappedHigh(ref ushort source, nint index)
    {
        Vector128<byte> s = Vector128.WidenLower(Vector64.LoadUnsafe(ref source, (nuint)index).ToVector128Unsafe()).AsByte();
        s = Vector128.Shuffle(s, Vector128.Create((byte)2, 3, 1, 0, 6, 7, 5, 4, 10, 11, 9, 8, 14, 15, 13, 12));
        return new(Vector128.ConvertToSingle(s.AsInt32()));
    }

    public static Lanes128 LoadByte(ref byte source, nint index)
    {
        Vector128<ushort> w = Vector128.WidenLower(Vector128.CreateScalarUnsafe(Unsafe.ReadUnaligned<uint>(ref Unsafe.Add(ref source, index))).AsByte());
        return new(Vector128.ConvertToSingle(Vector128.WidenLower(w).AsInt32()));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Lanes128 LoadSwapped(ref float source, nint index)
    {
        Vector128<uint> s = Vector128.LoadUnsafe(ref source, (nuint)index).AsUInt32();
        Vector128<uint> odd = Vector128.Create(0x00ff00ffu);
        s = ((s & odd) << 8) | ((s >>> 8) & odd);
        return new(((s << 16) | (s >>> 16)).AsSingle());
    }
}
