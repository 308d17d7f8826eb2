using System.Numerics;

namespace StarAssay.Engine.Optics;

/// <summary>
/// Two-dimensional Fourier transform of a square of 2^k samples in double precision, real and imaginary parts apart.
/// </summary>
/// <remarks>Radix 2 by decimation in frequency (Gentleman and Sande 1966). A butterfly works on two whole rows, so it is vector
/// arithmetic throughout; the square is then transposed and the other axis follows. The spectrum is left transposed, and
/// the way back turns it again. MathNet's managed transform is one-dimensional only, and slower here; it is what the
/// tests compare with.</remarks>
internal sealed class SquareTransform
{
    private readonly int size;
    private readonly double[] cosines;
    private readonly double[] sines;

    public SquareTransform(int size)
    {
        if (size < 2 || !BitOperations.IsPow2(size))
        {
            throw new ArgumentOutOfRangeException(nameof(size), size, "The size must be a power of two.");
        }

        this.size = size;
        cosines = new double[size / 2];
        sines = new double[size / 2];
        for (int k = 0; k < size / 2; k++)
        {
            (sines[k], cosines[k]) = Math.SinCos(-2 * Math.PI * k / size);
        }
    }

    /// <summary>Sum of x exp(-2 pi i ...), not scaled; the result is transposed: element [u * size + v].</summary>
    public void Forward(double[] re, double[] im)
    {
        Rows(re, im);
        Transpose(re);
        Transpose(im);
        Rows(re, im);
    }

    /// <summary>From a transposed spectrum back, scaled by 1 / size^2.</summary>
    public void Inverse(double[] re, double[] im)
    {
        // The inverse is the forward transform with the parts exchanged.
        Rows(im, re);
        Transpose(re);
        Transpose(im);
        Rows(im, re);
        double scale = 1.0 / ((double)size * size);
        for (int i = 0; i < re.Length; i++)
        {
            re[i] *= scale;
            im[i] *= scale;
        }
    }

    private void Rows(double[] re, double[] im)
    {
        for (int length = size; length >= 2; length /= 2)
        {
            int half = length / 2;
            int stride = size / length;
            for (int start = 0; start < size; start += length)
            {
                for (int k = 0; k < half; k++)
                {
                    int a = (start + k) * size;
                    int b = a + (half * size);
                    Butterfly(re.AsSpan(a, size), im.AsSpan(a, size), re.AsSpan(b, size), im.AsSpan(b, size), cosines[k * stride], sines[k * stride]);
                }
            }
        }

        // Rows now stand in bit-reversed order.
        int bits = BitOperations.Log2((uint)size);
        for (int row = 0; row < size; row++)
        {
            int other = Reverse(row, bits);
            if (other > row)
            {
                Swap(re, row, other);
                Swap(im, row, other);
            }
        }
    }

    private static int Reverse(int value, int bits)
    {
        int result = 0;
        for (int k = 0; k < bits; k++)
        {
            result = (result << 1) | ((value >> k) & 1);
        }

        return result;
    }

    private static void Butterfly(Span<double> aRe, Span<double> aIm, Span<double> bRe, Span<double> bIm, double cos, double sin)
    {
        int width = Vector<double>.Count;
        var c = new Vector<double>(cos);
        var s = new Vector<double>(sin);
        int i = 0;
        for (; i <= aRe.Length - width; i += width)
        {
            var ar = new Vector<double>(aRe[i..]);
            var ai = new Vector<double>(aIm[i..]);
            var br = new Vector<double>(bRe[i..]);
            var bi = new Vector<double>(bIm[i..]);
            Vector<double> dr = ar - br;
            Vector<double> di = ai - bi;
            (ar + br).CopyTo(aRe[i..]);
            (ai + bi).CopyTo(aIm[i..]);
            ((dr * c) - (di * s)).CopyTo(bRe[i..]);
            ((dr * s) + (di * c)).CopyTo(bIm[i..]);
        }

        for (; i < aRe.Length; i++)
        {
            double dr = aRe[i] - bRe[i];
            double di = aIm[i] - bIm[i];
            aRe[i] += bRe[i];
            aIm[i] += bIm[i];
            bRe[i] = (dr * cos) - (di * sin);
            bIm[i] = (dr * sin) + (di * cos);
        }
    }

    private void Swap(double[] data, int row, int other)
    {
        Span<double> a = data.AsSpan(row * size, size);
        Span<double> b = data.AsSpan(other * size, size);
        for (int i = 0; i < size; i++)
        {
            (a[i], b[i]) = (b[i], a[i]);
        }
    }

    private void Transpose(double[] data)
    {
        const int Block = 16;
        for (int j0 = 0; j0 < size; j0 += Block)
        {
            for (int i0 = 0; i0 <= j0; i0 += Block)
            {
                for (int j = j0; j < Math.Min(size, j0 + Block); j++)
                {
                    int end = Math.Min(j, Math.Min(size, i0 + Block));
                    for (int i = i0; i < end; i++)
                    {
                        (data[(j * size) + i], data[(i * size) + j]) = (data[(i * size) + j], data[(j * size) + i]);
                    }
                }
            }
        }
    }
}
