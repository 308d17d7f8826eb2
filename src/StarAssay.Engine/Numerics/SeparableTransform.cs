using System.Numerics;
using System.Runtime.InteropServices;

namespace StarAssay.Engine.Numerics;

/// <summary>
/// Fourier transform of a square of samples to a square of points anywhere in the other plane, and back, by two products with a
/// matrix; single precision, real and imaginary parts apart.
/// </summary>
/// <remarks>Sample j of n lies at rho = (2 j + 1 - n) / n. The points need no relation to n, so a small picture of a small part of the
/// other plane costs as little as it holds (Soummer, Pueyo, Sivaramakrishnan and Vanderbei 2007, Opt. Express 15, 15935; citation
/// from memory).</remarks>
internal sealed class SeparableTransform
{
    private readonly int samples;
    private readonly int points;

    // Element [j * points + k] and, turned, [k * samples + j].
    private readonly float[] re;
    private readonly float[] im;
    private readonly float[] turnedRe;
    private readonly float[] turnedIm;

    /// <summary>Kernel exp(-i pi x rho).</summary>
    /// <param name="samples">Samples along each side of the first plane.</param>
    /// <param name="points">Points along each side of the other.</param>
    /// <param name="first">Coordinate x of its first point.</param>
    /// <param name="step">From one point to the next.</param>
    public SeparableTransform(int samples, int points, double first, double step)
    {
        (this.samples, this.points, Step) = (samples, points, step);
        re = new float[samples * points];
        im = new float[samples * points];
        turnedRe = new float[samples * points];
        turnedIm = new float[samples * points];
        for (int j = 0; j < samples; j++)
        {
            double rho = ((2 * j) + 1 - samples) / (double)samples;
            Complex value = Complex.FromPolarCoordinates(1, -Math.PI * first * rho), turn = Complex.FromPolarCoordinates(1, -Math.PI * step * rho);
            for (int k = 0; k < points; k++)
            {
                (re[(j * points) + k], im[(j * points) + k]) = ((float)value.Real, (float)value.Imaginary);
                (turnedRe[(k * samples) + j], turnedIm[(k * samples) + j]) = ((float)value.Real, (float)value.Imaginary);
                value *= turn;
            }
        }
    }

    /// <summary>From one point to the next.</summary>
    public double Step { get; }

    /// <summary>Sum of f exp(-i pi (x rho_x + y rho_y)).</summary>
    /// <param name="f">Samples, n x n.</param>
    /// <returns>Points, m x m, rows along y.</returns>
    public Parts Forward(Parts f)
    {
        Parts rows = Product(f, samples, samples, new Parts(re, im), points);
        return Product(new Parts(turnedRe, turnedIm), points, samples, rows, points);
    }

    /// <summary>From points back to samples: what <see cref="Forward"/> would have made the points of, as far as they hold all of its light.</summary>
    public Parts Back(Parts g)
    {
        // With its parts exchanged a number is i times its conjugate, so exchanging before and after takes the conjugate of the kernel.
        Parts rows = Product(g.Exchanged, points, points, new Parts(turnedRe, turnedIm), samples);
        Parts f = Product(new Parts(re, im), samples, points, rows, samples).Exchanged;
        float scale = (float)(Step * Step / ((double)samples * samples));
        System.Numerics.Tensors.TensorPrimitives.Multiply(f.Re, scale, f.Re);
        System.Numerics.Tensors.TensorPrimitives.Multiply(f.Im, scale, f.Im);
        return f;
    }

    /// <summary>Real and imaginary parts of as many numbers.</summary>
    internal readonly record struct Parts(float[] Re, float[] Im)
    {
        /// <summary>Real and imaginary part change places.</summary>
        public Parts Exchanged => new(Im, Re);
    }

    /// <summary>Matrix product a b of complex numbers.</summary>
    private static Parts Product(Parts a, int rows, int inner, Parts b, int columns)
    {
        var c = new Parts(new float[rows * columns], new float[rows * columns]);
        int width = Vector<float>.Count, whole = columns / (2 * width) * 2 * width;
        for (int row = 0; row < rows; row++)
        {
            for (int column = 0; column < whole; column += 2 * width)
            {
                Vector<float> re0 = default, re1 = default, im0 = default, im1 = default;
                for (int k = 0; k < inner; k++)
                {
                    var ar = new Vector<float>(a.Re[(row * inner) + k]);
                    var ai = new Vector<float>(a.Im[(row * inner) + k]);
                    int at = (k * columns) + column;
                    Vector<float> br = Load(b.Re, at), bi = Load(b.Im, at);
                    re0 = Vector.MultiplyAddEstimate(ar, br, Vector.MultiplyAddEstimate(-ai, bi, re0));
                    im0 = Vector.MultiplyAddEstimate(ar, bi, Vector.MultiplyAddEstimate(ai, br, im0));
                    (br, bi) = (Load(b.Re, at + width), Load(b.Im, at + width));
                    re1 = Vector.MultiplyAddEstimate(ar, br, Vector.MultiplyAddEstimate(-ai, bi, re1));
                    im1 = Vector.MultiplyAddEstimate(ar, bi, Vector.MultiplyAddEstimate(ai, br, im1));
                }

                int to = (row * columns) + column;
                re0.CopyTo(c.Re, to);
                re1.CopyTo(c.Re, to + width);
                im0.CopyTo(c.Im, to);
                im1.CopyTo(c.Im, to + width);
            }

            for (int column = whole; column < columns; column++)
            {
                float sumRe = 0, sumIm = 0;
                for (int k = 0; k < inner; k++)
                {
                    float ar = a.Re[(row * inner) + k], ai = a.Im[(row * inner) + k], br = b.Re[(k * columns) + column], bi = b.Im[(k * columns) + column];
                    sumRe += (ar * br) - (ai * bi);
                    sumIm += (ar * bi) + (ai * br);
                }

                (c.Re[(row * columns) + column], c.Im[(row * columns) + column]) = (sumRe, sumIm);
            }
        }

        return c;
    }

    private static Vector<float> Load(float[] from, int at) => new(MemoryMarshal.CreateReadOnlySpan(ref from[at], Vector<float>.Count));
}
