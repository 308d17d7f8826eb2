using System.Numerics;

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
