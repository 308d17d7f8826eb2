using System.Runtime.CompilerServices;

namespace StarAssay.Engine.Numerics;

/// <summary>Exponential and logarithm for registers of floats, to about 2e-7: enough for weights and profiles, and many
/// times faster than the runtime's, which go through double precision.</summary>
internal static class LaneMath
{
    /// <summary>e^x for x between -87 and 88; below, the result is e^-87, which is as good as 0.</summary>
    /// <remarks>x = (n + r) ln 2 with |r| &lt;= 1/2; 2^r by its Taylor polynomial of degree 6 (next term 1.2e-7 relative),
    /// coefficients (ln 2)^k / k!.</remarks>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static T Exp<T>(T x)
        where T : struct, ILanes<T> => Exp2(T.Max(x, T.Of(-87f)) * T.Of(1.44269504f));

    /// <summary>2^x for x between -126 and 127.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static T Exp2<T>(T x)
        where T : struct, ILanes<T>
    {
        T n = T.Round(x);
        T r = x - n;
        T p = T.MulAdd(r, T.Of(1.54035304e-4f), T.Of(1.33335581e-3f));
        p = T.MulAdd(p, r, T.Of(9.61812911e-3f));
        p = T.MulAdd(p, r, T.Of(5.55041087e-2f));
        p = T.MulAdd(p, r, T.Of(0.240226507f));
        p = T.MulAdd(p, r, T.Of(0.693147181f));
        p = T.MulAdd(p, r, T.Of(1f));
        return p * T.PowerOfTwo(n);
    }

    /// <summary>log2 of positive normal numbers.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static T Log2<T>(T x)
        where T : struct, ILanes<T>
    {
        (T m, T e) = T.Split(x);
        return Log2((m - T.Of(1)) / (m + T.Of(1)), e);
    }

    /// <summary>log2 of numbers from 1e-18 to 1e18, and 1/x, for one division.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static (T Log, T Inverse) Log2AndInverse<T>(T x)
        where T : struct, ILanes<T>
    {
        (T m, T e) = T.Split(x);
        T above = m + T.Of(1), inverse = T.Of(1) / (x * above);
        return (Log2((m - T.Of(1)) * (x * inverse), e), above * inverse);
    }

    /// <summary>e + log2 m from t = (m - 1)/(m + 1).</summary>
    /// <remarks>With m the mantissa between sqrt(1/2) and sqrt(2): ln m = 2 (t + t^3/3 + t^5/5 + ...), |t| &lt;= 0.172, first
    /// term left out 2 t^11/11 = 7e-10.</remarks>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static T Log2<T>(T t, T e)
        where T : struct, ILanes<T>
    {
        T q = t * t;
        T p = T.MulAdd(q, T.Of(1f / 9), T.Of(1f / 7));
        p = T.MulAdd(p, q, T.Of(1f / 5));
        p = T.MulAdd(p, q, T.Of(1f / 3));
        p = T.MulAdd(p, q, T.Of(1f));
        return T.MulAdd(p * t, T.Of(2.88539008f), e);
    }

    /// <summary>asin for x between 0 and 1; 1 - x is asked for too, since near 1 the result hangs on it.</summary>
    /// <remarks>Up to 1/2 a polynomial in x^2 (Chebyshev fit of asin(x)/x over 0 to 1/4, error 2.4e-9); beyond,
    /// asin x = pi/2 - 2 asin sqrt((1 - x)/2).</remarks>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static T Asin<T>(T x, T oneMinus)
        where T : struct, ILanes<T>
    {
        T half = T.Of(0.5f), q0 = x * x, q1 = oneMinus * half;
        T q = T.IfAtMost(x, half, q0, q1), s = T.IfAtMost(x, half, x, T.Sqrt(q1));
        T p = T.MulAdd(q, T.Of(0.0425535996f), T.Of(0.0239093633f));
        p = T.MulAdd(p, q, T.Of(0.0455390098f));
        p = T.MulAdd(p, q, T.Of(0.0749453427f));
        p = T.MulAdd(p, q, T.Of(0.16666787f));
        p = T.MulAdd(p, q, T.Of(0.999999996f)) * s;
        return T.IfAtMost(x, half, p, T.Of(1.57079633f) - (p + p));
    }
}
