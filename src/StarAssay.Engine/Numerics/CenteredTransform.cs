using System.Numerics;
using System.Runtime.InteropServices;

namespace StarAssay.Engine.Numerics;

/// <summary>
/// Light in the other plane of a square of samples: Fourier transform to a square of points about the same axis, and the square of its modulus; double
/// precision.
/// </summary>
/// <remarks>Two products with a matrix, exact at any sampling (Soummer, Pueyo, Sivaramakrishnan and Vanderbei 2007, Opt. Express 15, 15935; citation from
/// memory). Samples and points lie symmetrically about the axis, so that their sums and differences meet cosines and sines alone: a quarter of the
/// work. Sample j of n lies at rho = (2 j + 1 - n) / n. What an inner loop reads lies one after the other in memory.</remarks>
internal sealed class CenteredTransform
{
    private readonly int samples;
    private readonly int points;

    // How many lie on one side, the axis counted in.
    private readonly int halfSamples;
    private readonly int halfPoints;

    // Cosine and sine of pi x rho: for as many points as a vector has lanes, all samples; and for two points, all samples.
    private readonly double[] along;
    private readonly double[] across;

    /// <summary>Kernel exp(-i pi x rho).</summary>
    /// <param name="samples">Samples along each side of the first plane.</param>
    /// <param name="points">Points along each side of the other.</param>
    /// <param name="halfWidth">Coordinate x of the last point; that of the first is its negative.</param>
    public CenteredTransform(int samples, int points, double halfWidth)
    {
        (this.samples, this.points) = (samples, points);
        (halfSamples, halfPoints) = ((samples + 1) / 2, (points + 1) / 2);
        int width = Vector<double>.Count;
        along = new double[Vectors(halfPoints) * halfSamples * 2 * width];
        across = new double[(halfPoints + 1) / 2 * halfSamples * 4];
        for (int k = 0; k < halfPoints; k++)
        {
            double x = halfWidth * ((2.0 * ((points / 2) + k) / (points - 1)) - 1);
            for (int j = 0; j < halfSamples; j++)
            {
                double rho = ((2 * ((samples / 2) + j)) + 1 - samples) / (double)samples;
                (double sin, double cos) = Math.SinCos(Math.PI * x * rho);
                int vector = 2 * width * (((k / width) * halfSamples) + j), pair = 4 * ((k / 2 * halfSamples) + j);
                (along[vector + (k % width)], along[vector + width + (k % width)]) = (cos, sin);
                (across[pair + (2 * (k % 2))], across[pair + (2 * (k % 2)) + 1]) = (cos, sin);
            }
        }
    }

    /// <summary>|sum of f exp(-i pi (x rho_x + y rho_y))|^2.</summary>
    /// <param name="field">Samples, row y, column x.</param>
    /// <param name="how">Threads; the bits do not depend on them.</param>
    /// <returns>Points, rows along y.</returns>
    public double[] Light(Complex[,] field, ParallelOptions how)
    {
        int stride = Vectors(points) * Vector<double>.Count;
        double[] re = new double[samples * stride], im = new double[samples * stride];
        Parallel.For(0, samples, how, y => AlongRow(field, y, re.AsSpan(y * stride, points), im.AsSpan(y * stride, points)));
        double[] light = new double[points * points];
        Parallel.For(0, Vectors(points), how, chunk => AlongColumns(re, im, stride, chunk * Vector<double>.Count, light));
        return light;
    }

    private static int Vectors(int count) => (count + Vector<double>.Count - 1) / Vector<double>.Count;

    private static Vector<double> Load(double[] from, int at) => new(MemoryMarshal.CreateReadOnlySpan(ref from[at], Vector<double>.Count));

    private void AlongRow(Complex[,] field, int y, Span<double> re, Span<double> im)
    {
        int width = Vector<double>.Count;
        double[] folded = new double[4 * halfSamples];
        for (int j = 0; j < halfSamples; j++)
        {
            // On the axis a sample is its own mirror image; its sine is zero, whatever it meets.
            int plus = (samples / 2) + j, minus = samples - 1 - plus;
            Complex upper = field[y, plus], lower = plus == minus ? Complex.Zero : field[y, minus], sum = upper + lower, difference = upper - lower;
            (folded[4 * j], folded[(4 * j) + 1]) = (sum.Real, sum.Imaginary);
            (folded[(4 * j) + 2], folded[(4 * j) + 3]) = (difference.Real, difference.Imaginary);
        }

        Span<double> part = stackalloc double[4 * width];
        for (int k = 0; k < halfPoints; k += width)
        {
            Vector<double> evenRe = default, evenIm = default, oddRe = default, oddIm = default;
            int at = 2 * k * halfSamples;
            for (int j = 0; j < halfSamples; j++, at += 2 * width)
            {
                Vector<double> c = Load(along, at), s = Load(along, at + width);
                evenRe = Vector.MultiplyAddEstimate(new Vector<double>(folded[4 * j]), c, evenRe);
                evenIm = Vector.MultiplyAddEstimate(new Vector<double>(folded[(4 * j) + 1]), c, evenIm);
                oddRe = Vector.MultiplyAddEstimate(new Vector<double>(folded[(4 * j) + 2]), s, oddRe);
                oddIm = Vector.MultiplyAddEstimate(new Vector<double>(folded[(4 * j) + 3]), s, oddIm);
            }

            // exp(-i a) = cos a - i sin a.
            (evenRe + oddIm).CopyTo(part);
            (evenIm - oddRe).CopyTo(part[width..]);
            (evenRe - oddIm).CopyTo(part[(2 * width)..]);
            (evenIm + oddRe).CopyTo(part[(3 * width)..]);
            for (int i = 0; i < Math.Min(width, halfPoints - k); i++)
            {
                int plus = (points / 2) + k + i;
                (re[plus], im[plus]) = (part[i], part[width + i]);
                (re[points - 1 - plus], im[points - 1 - plus]) = (part[(2 * width) + i], part[(3 * width) + i]);
            }
        }
    }

    // As many columns as a vector has lanes.
    private void AlongColumns(double[] re, double[] im, int stride, int column, double[] light)
    {
        int width = Vector<double>.Count;
        double[] folded = new double[4 * width * halfSamples];
        for (int j = 0; j < halfSamples; j++)
        {
            int plus = (samples / 2) + j, minus = samples - 1 - plus;
            bool axis = plus == minus;
            Vector<double> ur = Load(re, (plus * stride) + column), ui = Load(im, (plus * stride) + column);
            Vector<double> lr = axis ? default : Load(re, (minus * stride) + column), li = axis ? default : Load(im, (minus * stride) + column);
            Span<double> to = folded.AsSpan(4 * width * j);
            (ur + lr).CopyTo(to);
            (ui + li).CopyTo(to[width..]);
            (ur - lr).CopyTo(to[(2 * width)..]);
            (ui - li).CopyTo(to[(3 * width)..]);
        }

        // Two rows of points on either side of the axis at once, so that what was loaded serves twice.
        for (int first = 0; first < halfPoints; first += 2)
        {
            Vector<double> ar = default, ai = default, br = default, bi = default, cr = default, ci = default, dr = default, di = default;
            int at = 0, pair = 2 * first * halfSamples;
            for (int j = 0; j < halfSamples; j++, at += 4 * width, pair += 4)
            {
                Vector<double> er = Load(folded, at), ei = Load(folded, at + width), or = Load(folded, at + (2 * width)), oi = Load(folded, at + (3 * width));
                Vector<double> c0 = new(across[pair]), s0 = new(across[pair + 1]), c1 = new(across[pair + 2]), s1 = new(across[pair + 3]);
                ar = Vector.MultiplyAddEstimate(c0, er, ar);
                ai = Vector.MultiplyAddEstimate(c0, ei, ai);
                br = Vector.MultiplyAddEstimate(s0, or, br);
                bi = Vector.MultiplyAddEstimate(s0, oi, bi);
                cr = Vector.MultiplyAddEstimate(c1, er, cr);
                ci = Vector.MultiplyAddEstimate(c1, ei, ci);
                dr = Vector.MultiplyAddEstimate(s1, or, dr);
                di = Vector.MultiplyAddEstimate(s1, oi, di);
            }

            int above = (points / 2) + first;
            Put(light, above, column, Squares(ar + bi, ai - br));
            Put(light, points - 1 - above, column, Squares(ar - bi, ai + br));
            if (first + 1 < halfPoints)
            {
                Put(light, above + 1, column, Squares(cr + di, ci - dr));
                Put(light, points - 2 - above, column, Squares(cr - di, ci + dr));
            }
        }
    }

    private void Put(double[] light, int row, int column, Vector<double> values)
    {
        Span<double> all = stackalloc double[Vector<double>.Count];
        values.CopyTo(all);
        all[..Math.Min(all.Length, points - column)].CopyTo(light.AsSpan((row * points) + column));
    }

    private static Vector<double> Squares(Vector<double> re, Vector<double> im) => (re * re) + (im * im);
}
