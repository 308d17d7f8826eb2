using System.Numerics;
using System.Numerics.Tensors;

namespace StarAssay.Engine.Optics.Views;

/// <summary>A square of the sky through a telescope: spectrum of what is there, times the transfer function, and back.</summary>
internal sealed class SkyImage
{
    private readonly SquareTransform transform;

    /// <summary>A square.</summary>
    /// <param name="widthArcsec">At least this wide; what goes out on one side comes in on the other.</param>
    /// <param name="stepArcsec">At most this far from sample to sample.</param>
    public SkyImage(double widthArcsec, double stepArcsec)
    {
        Size = 64;
        while (Size * stepArcsec < widthArcsec && Size < Largest)
        {
            Size *= 2;
        }

        Step = Math.Max(stepArcsec, widthArcsec / Size);
        transform = new SquareTransform(Size);
    }

    /// <summary>Most samples along a side.</summary>
    public const int Largest = 2048;

    /// <summary>Samples along a side.</summary>
    public int Size { get; }

    /// <summary>Distance of two, arcsec.</summary>
    public double Step { get; }

    /// <summary>Coordinate of a sample, arcsec from the middle.</summary>
    public double Place(int k) => (k - (Size / 2)) * Step;

    /// <summary>Spectrum of drawn samples, row y, column x; each the mean of so many points along a side, which is taken out again.</summary>
    public (double[] Re, double[] Im) Spectrum(double[] drawn, int pointsPerSample)
    {
        double[] re = [.. drawn], im = new double[re.Length];
        transform.Forward(re, im);
        double[] mean = new double[Size];
        for (int k = 0; k < Size; k++)
        {
            // Mean of n points a step / n apart: sin(pi f) / (n sin(pi f / n)), f in cycles a sample.
            double half = Math.PI * Signed(k) / Size;
            mean[k] = k == 0 ? 1 : Math.Sin(half) / (pointsPerSample * Math.Sin(half / pointsPerSample));
        }

        for (int u = 0; u < Size; u++)
        {
            for (int v = 0; v < Size; v++)
            {
                double by = 1 / (mean[u] * mean[v]);
                re[(u * Size) + v] *= by;
                im[(u * Size) + v] *= by;
            }
        }

        return (re, im);
    }

    /// <summary>Spectrum of points of light, each with its strength, at places from the middle.</summary>
    public (double[] Re, double[] Im) Points(IReadOnlyList<(double X, double Y, double Strength)> points)
    {
        double[] re = new double[Size * Size], im = new double[Size * Size];
        double middle = Size / 2 * Step, per = 1 / (Step * Step);
        for (int u = 0; u < Size; u++)
        {
            for (int v = 0; v < Size; v++)
            {
                foreach ((double x, double y, double strength) in points)
                {
                    (double s, double c) = Math.SinCos(-2 * Math.PI * ((Frequency(u) * (x + middle)) + (Frequency(v) * (y + middle))));
                    re[(u * Size) + v] += strength * per * c;
                    im[(u * Size) + v] += strength * per * s;
                }
            }
        }

        return (re, im);
    }

    /// <summary>The image, row y, column x.</summary>
    public double[] Through((double[] Re, double[] Im) spectrum, SkyTransfer telescope, ParallelOptions how)
    {
        double[] re = new double[Size * Size], im = new double[Size * Size];
        double cutoff = telescope.Cutoff;
        Parallel.For(0, Size, how, u =>
        {
            double fx = Frequency(u);
            for (int v = 0; v < Size && Math.Abs(fx) < cutoff; v++)
            {
                double fy = Frequency(v);
                if ((fx * fx) + (fy * fy) < cutoff * cutoff)
                {
                    int k = (u * Size) + v;
                    Complex value = telescope.At(fx, fy) * new Complex(spectrum.Re[k], spectrum.Im[k]);
                    (re[k], im[k]) = (value.Real, value.Imaginary);
                }
            }
        });
        transform.Inverse(re, im);
        return re;
    }

    /// <summary>What the air of a long exposure leaves of each frequency (Fried 1966), for <see cref="Blur"/>.</summary>
    public double[] Air(double r0M, double nm)
    {
        double[] air = new double[Size * Size];
        double scale = Seeing.ArcsecPerRadian * nm * 1e-9 / (Size * Step);

        // The same for every sign and for both axes.
        for (int u = 0; u <= Size / 2; u++)
        {
            for (int v = u; v <= Size / 2; v++)
            {
                double left = Seeing.Mtf(scale * Math.Sqrt((u * u) + (v * v)), r0M);
                (int mu, int mv) = ((Size - u) % Size, (Size - v) % Size);
                air[(u * Size) + v] = air[(mu * Size) + v] = air[(u * Size) + mv] = air[(mu * Size) + mv] = left;
                air[(v * Size) + u] = air[(v * Size) + mu] = air[(mv * Size) + u] = air[(mv * Size) + mu] = left;
            }
        }

        return air;
    }

    /// <summary>Two images through the air, in place: what is real in an image and in the air does not mix.</summary>
    public void Blur(double[] first, double[] second, double[] air)
    {
        transform.Forward(first, second);
        TensorPrimitives.Multiply(first, air, first);
        TensorPrimitives.Multiply(second, air, second);
        transform.Inverse(first, second);
    }

    /// <summary>Between the samples: a windowed sinc of eight samples, exact to a thousandth for what is sampled twice as finely as it must be.</summary>
    public double Between(double[] image, double x, double y)
    {
        double column = (x / Step) + (Size / 2), row = (y / Step) + (Size / 2);
        int i0 = (int)Math.Floor(column), j0 = (int)Math.Floor(row);
        double sum = 0, weight = 0;
        Span<double> along = stackalloc double[8], across = stackalloc double[8];
        Span<int> at = stackalloc int[8];
        Lanczos(column - (i0 - 3), along);
        Lanczos(row - (j0 - 3), across);
        for (int i = 0; i < 8; i++)
        {
            at[i] = Wrapped(i0 - 3 + i);
        }

        for (int j = 0; j < 8; j++)
        {
            int line = Wrapped(j0 - 3 + j) * Size;
            for (int i = 0; i < 8; i++)
            {
                double w = across[j] * along[i];
                sum += w * image[line + at[i]];
                weight += w;
            }
        }

        return sum / weight;
    }

    /// <summary>The middle of a square as rows and columns, out to a half width.</summary>
    public (double[,] Picture, double[] Position) Middle(double[] image, double halfArcsec)
    {
        int half = Math.Min((Size / 2) - 1, (int)Math.Ceiling(halfArcsec / Step)), n = (2 * half) + 1, from = (Size / 2) - half;
        double[,] picture = new double[n, n];
        for (int j = 0; j < n; j++)
        {
            for (int i = 0; i < n; i++)
            {
                picture[j, i] = image[((from + j) * Size) + from + i];
            }
        }

        return (picture, [.. Enumerable.Range(from, n).Select(Place)]);
    }

    // Of the eight samples around: sin(pi t) is the same for all of them but for its sign.
    private static void Lanczos(double first, Span<double> taps)
    {
        double sine = Math.Sin(Math.PI * first);
        for (int i = 0; i < taps.Length; i++)
        {
            double t = Math.PI * (first - i);
            taps[i] = t == 0 ? 1 : Math.Abs(t) >= 4 * Math.PI ? 0 : (i % 2 == 0 ? sine : -sine) * 4 * Math.Sin(t / 4) / (t * t);
        }
    }

    private int Wrapped(int k) => ((k % Size) + Size) % Size;

    private int Signed(int k) => k < Size / 2 ? k : k - Size;

    private double Frequency(int k) => Signed(k) / (Size * Step);
}
