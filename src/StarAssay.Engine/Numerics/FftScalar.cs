namespace StarAssay.Engine.Numerics;

/// <summary>The definition that <see cref="Fft"/> follows, in double precision: two sums, no tricks.</summary>
internal static class FftScalar
{
    /// <summary>
    /// Output (l, k) = sum over rows j and columns i of (re + i im)[j, i] exp(-2 pi i ((j + shift) (l + first) + (i + shift) (k + first))/n),
    /// for l and k from 0 to count - 1.
    /// </summary>
    public static (double[,] Re, double[,] Im) Transform(double[,] re, double[,] im, int n, int shift, int first, int count)
    {
        int rows = re.GetLength(0);
        int columns = re.GetLength(1);
        double[,] midRe = new double[count, columns];
        double[,] midIm = new double[count, columns];
        for (int l = 0; l < count; l++)
        {
            for (int i = 0; i < columns; i++)
            {
                for (int j = 0; j < rows; j++)
                {
                    Add(re[j, i], im[j, i], (long)(j + shift) * (l + first), n, ref midRe[l, i], ref midIm[l, i]);
                }
            }
        }

        double[,] outRe = new double[count, count];
        double[,] outIm = new double[count, count];
        for (int l = 0; l < count; l++)
        {
            for (int k = 0; k < count; k++)
            {
                for (int i = 0; i < columns; i++)
                {
                    Add(midRe[l, i], midIm[l, i], (long)(i + shift) * (k + first), n, ref outRe[l, k], ref outIm[l, k]);
                }
            }
        }

        return (outRe, outIm);
    }

    private static void Add(double re, double im, long turn, int n, ref double sumRe, ref double sumIm)
    {
        (double s, double c) = Math.SinCos(-2 * Math.PI * (turn % n) / n);
        sumRe += (re * c) - (im * s);
        sumIm += (re * s) + (im * c);
    }
}
