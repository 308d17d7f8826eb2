using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;
using System.Runtime.Intrinsics.X86;

namespace StarAssay.Engine.Numerics;

/// <summary>
/// A register of floats of one width. Kernels are written once over this interface and compiled once a width, so that
/// 128-, 256- and 512-bit processors run the same lines. Every member asks to be inlined: left to itself the compiler makes
/// calls of the longer ones, and a call spills all registers round it. A method taking a <c>ref</c> and an index trusts its caller:
/// the public method above it has checked every length.
/// </summary>
internal interface ILanes<T> : IAdditionOperators<T, T, T>, ISubtractionOperators<T, T, T>, IMultiplyOperators<T, T, T>, IDivisionOperators<T, T, T>,
    IUnaryNegationOperators<T, T>
    where T : struct, ILanes<T>
{
    /// <summary>Floats in the register.</summary>
    static abstract int Count { get; }

    /// <summary>0, 1, 2, ...: the offset of each lane.</summary>
    static abstract T Ramp { get; }

    /// <summary>The same number in every lane.</summary>
    static abstract T Of(float value);

    /// <summary>Loads Count floats from <paramref name="index"/> on.</summary>
    static abstract T Load(ref float source, nint index);

    /// <summary>Stores Count floats.</summary>
    static abstract void Store(T value, ref float target, nint index);

    /// <summary>a * b + c, with one rounding where the processor has it.</summary>
    static abstract T MulAdd(T a, T b, T c);

    /// <summary>The smaller; either when one is NaN.</summary>
    static abstract T Min(T a, T b);

    /// <summary>The larger; either when one is NaN.</summary>
    static abstract T Max(T a, T b);

    /// <summary>Square root.</summary>
    static abstract T Sqrt(T value);

    /// <summary>Sine and cosine, value in radians.</summary>
    static abstract (T Sin, T Cos) SinCos(T value);

    /// <summary>e to the power of each lane.</summary>
    static abstract T Exp(T value);

    /// <summary>1 in the first lanes, 0 in the rest; any number of lanes, also none or more than there are.</summary>
    static abstract T FirstOnes(int lanes);

    /// <summary><paramref name="value"/> in the first lanes, 0 in the rest, whatever stands there (NaN too).</summary>
    static abstract T KeepFirst(T value, int lanes);

    /// <summary>Bit k is set where a &gt; b in lane k; NaN is never larger.</summary>
    static abstract ulong Above(T a, T b);

    /// <summary>How many lanes have a &lt; b.</summary>
    static abstract int CountBelow(T a, T b);

    /// <summary><paramref name="value"/> where low &lt;= value &lt;= high, else 0; NaN gives 0.</summary>
    static abstract T KeepBetween(T value, T low, T high);

    /// <summary>1 where -reach &lt;= value &lt;= reach, else 0; NaN gives 0.</summary>
    static abstract T OneWithin(T value, T reach);

    /// <summary><paramref name="yes"/> where a &lt;= b, else <paramref name="no"/>.</summary>
    static abstract T IfAtMost(T a, T b, T yes, T no);

    /// <summary>The lanes of <paramref name="value"/> one place up; the last lane of <paramref name="before"/> comes in below.</summary>
    static abstract T ShiftIn(T before, T value);

    /// <summary>Each lane gets what stands in the next one, the last lane what stands in the first.</summary>
    static abstract T NextLane(T value);

    /// <summary>Sum of all lanes.</summary>
    static abstract float Sum(T value);

    /// <summary>Nearest whole number of each lane, halves to even.</summary>
    static abstract T Round(T value);

    /// <summary>2^n for whole n between -126 and 127.</summary>
    static abstract T PowerOfTwo(T n);

    /// <summary>Splits positive normal numbers: value = mantissa * 2^exponent, mantissa between sqrt(1/2) and sqrt(2).</summary>
    static abstract (T Mantissa, T Exponent) Split(T value);

    /// <summary>Loads Count 16-bit unsigned numbers as floats, bytes swapped on demand.</summary>
    static abstract T LoadUInt16(ref ushort source, nint index, bool swap);

    /// <summary>Loads Count 16-bit signed numbers as floats, bytes swapped on demand.</summary>
    static abstract T LoadInt16(ref ushort source, nint index, bool swap);

    /// <summary>Loads Count 16-bit signed numbers whose bytes stand in the other order as floats 65,536 times as large: the quickest way to
    /// have them in registers.</summary>
    static abstract T LoadInt16SwappedHigh(ref ushort source, nint index);

    /// <summary>Loads Count bytes as floats.</summary>
    static abstract T LoadByte(ref byte source, nint index);

    /// <summary>Loads Count floats whose bytes stand in the other order.</summary>
    static abstract T LoadSwapped(ref float source, nint index);
}

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
