using System.Numerics;
using MathNet.Numerics.IntegralTransforms;

namespace StarAssay.Engine.Optics.Views;

/// <summary>Two-dimensional Fourier transforms in double precision: rows, then columns, with MathNet's managed code.
/// Views are drawn once a click, so its speed is enough here.</summary>
internal static class Transform2D
{
    public static void Forward(Complex[] data, int size) => Run(data, size, row => Fourier.Forward(row, FourierOptions.AsymmetricScaling));

    public static void Inverse(Complex[] data, int size) => Run(data, size, row => Fourier.Inverse(row, FourierOptions.AsymmetricScaling));

    private static void Run(Complex[] data, int size, Action<Complex[]> transform)
    {
        Parallel.For(0, size, y =>
        {
            var row = new Complex[size];
            Array.Copy(data, y * size, row, 0, size);
            transform(row);
            Array.Copy(row, 0, data, y * size, size);
        });
        Parallel.For(0, size, x =>
        {
            var column = new Complex[size];
            for (int y = 0; y < size; y++)
            {
                column[y] = data[(y * size) + x];
            }

            transform(column);
            for (int y = 0; y < size; y++)
            {
                data[(y * size) + x] = column[y];
            }
        });
    }
}
