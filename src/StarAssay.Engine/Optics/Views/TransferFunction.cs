using System.Numerics;

namespace StarAssay.Engine.Optics.Views;

/// <summary>The complex transfer function of a pupil as its autocorrelation, at whole and broken shifts.</summary>
internal sealed class TransferFunction
{
    private readonly Complex[] values;
    private readonly int size;

    private TransferFunction(Complex[] values, int size) => (this.values, this.size) = (values, size);

    /// <summary>Samples across the pupil; a shift by as many is the cutoff.</summary>
    public int Samples => size / 2;

    /// <summary>Computes it.</summary>
    /// <param name="map">The pupil.</param>
    /// <param name="shiftUm">Position of the screen, positive away from the objective.</param>
    public static TransferFunction Of(PupilMap map, double shiftUm = 0)
    {
        int n = map.Size, size = 2 * n;
        Complex[] pupil = new Complex[size * size];
        Complex[,] field = map.Field(shiftUm);
        foreach ((int y, int x) in FocusedImages.Grid(n))
        {
            pupil[(y * size) + x] = field[y, x];
        }

        Correlate(pupil, size);

        // A sample's amplitude is the share of it that is open, so at no shift it overlaps itself by that share, not by
        // its square: the normalization is the open area.
        double zero = FocusedImages.Grid(n).Sum(s => map.AmplitudeAt(s.Y, s.X));
        pupil[0] = zero;
        for (int i = 0; i < pupil.Length; i++)
        {
            pupil[i] /= zero;
        }

        return new TransferFunction(pupil, size);
    }

    /// <summary>At a shift by whole samples. The field's phase falls where W rises, so this is the conjugate of the usual one.</summary>
    public Complex At(int x, int y)
    {
        int i = ((x % size) + size) % size;
        int j = ((y % size) + size) % size;

        // The grid is twice the pupil, so a shift of exactly one diameter meets its own mirror image: no overlap there.
        return Math.Abs(x) >= size / 2 || Math.Abs(y) >= size / 2 ? Complex.Zero : values[(j * size) + i];
    }

    /// <summary>At a shift by a broken number of samples.</summary>
    public Complex Between(double x, double y)
    {
        int x0 = (int)Math.Floor(x), y0 = (int)Math.Floor(y);
        double fx = x - x0, fy = y - y0;
        return ((1 - fy) * (((1 - fx) * At(x0, y0)) + (fx * At(x0 + 1, y0))))
            + (fy * (((1 - fx) * At(x0, y0 + 1)) + (fx * At(x0 + 1, y0 + 1))));
    }

    // The correlation of a square with itself: its spectrum's squared modulus, and back.
    private static void Correlate(Complex[] square, int size)
    {
        if (!BitOperations.IsPow2(size))
        {
            Transform2D.Forward(square, size);
            for (int i = 0; i < square.Length; i++)
            {
                double a = square[i].Magnitude;
                square[i] = a * a;
            }

            Transform2D.Inverse(square, size);
            return;
        }

        double[] re = [.. square.Select(v => v.Real)], im = [.. square.Select(v => v.Imaginary)];
        var transform = new SquareTransform(size);
        transform.Forward(re, im);
        for (int i = 0; i < re.Length; i++)
        {
            (re[i], im[i]) = ((re[i] * re[i]) + (im[i] * im[i]), 0);
        }

        transform.Inverse(re, im);
        for (int i = 0; i < re.Length; i++)
        {
            square[i] = new Complex(re[i], im[i]);
        }
    }
}
