using System.Numerics;

namespace StarAssay.Engine.Numerics;

/// <summary>Sums of products over the machine's vectors, in double precision.</summary>
internal static class Sums
{
    /// <summary>Scalar product.</summary>
    public static double Dot(ReadOnlySpan<double> a, ReadOnlySpan<double> b)
    {
        Vector<double> sum = default;
        int i = 0, lanes = Vector<double>.Count;
        for (; i <= a.Length - lanes; i += lanes)
        {
            sum = Vector.MultiplyAddEstimate(new Vector<double>(a[i..]), new Vector<double>(b[i..]), sum);
        }

        double s = Vector.Sum(sum);
        for (; i < a.Length; i++)
        {
            s += a[i] * b[i];
        }

        return s;
    }
}
