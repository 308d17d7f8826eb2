using System.Numerics;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>What can blur and lengthen the stars of a field, each with a pattern of its own.</summary>
[Flags]
internal enum BlurCauses
{
    /// <summary>None.</summary>
    None = 0,

    /// <summary>Sensor not square to the axis, or a curved field whose middle lies beside the sensor's.</summary>
    Tilt = 1,

    /// <summary>Focus that changes with the squared distance from the middle.</summary>
    Curvature = 2,

    /// <summary>Astigmatism that grows with the squared distance.</summary>
    Astigmatism = 4,

    /// <summary>Coma that grows with the distance.</summary>
    Coma = 8,

    /// <summary>Every star drawn out alike.</summary>
    Trailing = 16,

    /// <summary>The axis of astigmatism and coma beside the sensor's middle; no cause by itself.</summary>
    Decentered = 32,
}

/// <summary>Size, lengthening and lopsidedness of a star as a few aberrations make them.</summary>
/// <remarks>
/// <para>A ray through pupil point p (complex, unit radius) of a wave with defocus D, astigmatism A and coma C lands at 2 D p + 2 A p* + C* p^2 +
/// 2 C |p|^2 (the gradient of the wave; Welford, Aberrations of Optical Systems). Its moments over the pupil: mean |e|^2 = 2 (D^2 + |A|^2) + 2 |C|^2 / 3,
/// mean e^2 = 4 D A + C^2 / 3, mean e |e|^2 = C (8 D^2 + 4 |A|^2 + |C|^2) / 3 + 4 D A C*; moments of blurs add up under convolution. Here D, A and
/// C are scaled so that each adds its square to the squared half-flux radius, the blur common to all stars is 1, and factors near one take what
/// Gaussian weights and half-flux radii see of the moments.</para>
/// <para>z from the middle over half the diagonal: D = d + t z + k |z|^2, A = a (z - o)^2, C = c (z - o).</para>
/// </remarks>
internal readonly struct BlurPattern
{
    /// <summary>Number of unknowns.</summary>
    public const int Count = 15;

    // Places of the unknowns.
    public const int Common = 0, Focus = 1, TiltX = 2, TiltY = 3, Bowl = 4, Astigmatic = 5, Comatic = 6, TrailX = 7, TrailY = 8, AxisX = 9, AxisY = 10;
    public const int SkewFactor = 11, SkewCommon = 12, CrossFactor = 13, ComaFactor = 14;

    /// <summary>The unknowns that a set of causes frees.</summary>
    public static int[] Free(BlurCauses causes, bool skewed)
    {
        var free = new List<int> { Common };
        void Add(BlurCauses cause, params int[] unknowns)
        {
            if (causes.HasFlag(cause))
            {
                free.AddRange(unknowns);
            }
        }

        if ((causes & (BlurCauses.Tilt | BlurCauses.Curvature | BlurCauses.Astigmatism)) != 0)
        {
            free.Add(Focus);
        }

        Add(BlurCauses.Tilt, TiltX, TiltY);
        Add(BlurCauses.Curvature, Bowl);
        Add(BlurCauses.Astigmatism, Astigmatic, CrossFactor);
        Add(BlurCauses.Coma, Comatic, ComaFactor);
        Add(BlurCauses.Trailing, TrailX, TrailY);
        Add(BlurCauses.Decentered, AxisX, AxisY);
        if (skewed && causes.HasFlag(BlurCauses.Coma))
        {
            free.AddRange([SkewFactor, SkewCommon]);
        }

        return [.. free];
    }

    /// <summary>What is known beforehand of an unknown; infinite scatter: nothing.</summary>
    public static (double Expected, double Scatter) Known(int unknown) => unknown switch
    {
        SkewFactor => (Math.Log(0.35), 0.4),
        SkewCommon => (Math.Log(0.15), 0.8),
        CrossFactor => (Math.Log(1.0), 0.15),
        ComaFactor => (Math.Log(0.3), 0.35),
        AxisX or AxisY => (0, 0.3),
        _ => (0, double.PositiveInfinity),
    };

    /// <summary>Squared half-flux radius, lengthening times that, and third moment.</summary>
    /// <param name="p">The unknowns.</param>
    /// <param name="z">Place.</param>
    public static (double Size2, Complex Long, Complex Skew) At(ReadOnlySpan<double> p, Complex z)
    {
        double r2 = (z.Real * z.Real) + (z.Imaginary * z.Imaginary), common = Math.Exp(p[Common]);
        double d = p[Focus] + (p[TiltX] * z.Real) + (p[TiltY] * z.Imaginary) + (p[Bowl] * r2);
        Complex off = z - new Complex(p[AxisX], p[AxisY]), a = p[Astigmatic] * off * off, c = p[Comatic] * off;
        double a2 = (a.Real * a.Real) + (a.Imaginary * a.Imaginary), c2 = (c.Real * c.Real) + (c.Imaginary * c.Imaginary);

        // A disc well beyond the common blur counts for more than one within it (images drawn through the pupil, 70 to 200 mm, f/5 to f/8).
        double beyond = ((d * d) + a2) / common, growth = 1 + (0.45 * beyond / (beyond + 2));
        Complex drawn = (2 * growth * Math.Exp(p[CrossFactor]) * d * a) + (Math.Exp(p[ComaFactor]) * c * c) + (common * new Complex(p[TrailX], p[TrailY]));
        Complex skew = (c * ((Math.Exp(p[SkewFactor]) * ((d * d) + (0.5 * a2) + (0.375 * c2))) + (common * Math.Exp(p[SkewCommon]))))
            + (1.5 * Math.Exp(p[SkewFactor]) * d * a * Complex.Conjugate(c));
        return (common + (growth * ((d * d) + a2)) + c2, drawn, skew);
    }
}
