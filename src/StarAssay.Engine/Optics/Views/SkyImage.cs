using System.Numerics;

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

    /// <summary>An image through the air of a long exposure (Fried 1966).</summary>
    public double[] Blurred(double[] image, double r0M, double nm)
    {
        double[] re = [.. image], im = new double[image.Length];
        transform.Forward(re, im);
        for (int u = 0; u < Size; u++)
        {
            for (int v = 0; v < Size; v++)
            {
                double f = Math.Sqrt((Frequency(u) * Frequency(u)) + (Frequency(v) * Frequency(v)));
                double air = Seeing.Mtf(f * Seeing.ArcsecPerRadian * nm * 1e-9, r0M);
                re[(u * Size) + v] *= air;
                im[(u * Size) + v] *= air;
            }
        }

        transform.Inverse(re, im);
        return re;
    }

    /// <summary>Between the samples: a windowed sinc of eight samples, exact to a thousandth for what is sampled twice as finely as it must be.</summary>
    public double Between(double[] image, double x, double y)
    {
        double column = (x / Step) + (Size / 2), row = (y / Step) + (Size / 2);
        int i0 = (int)Math.Floor(column), j0 = (int)Math.Floor(row);
        double sum = 0, weight = 0;
        for (int j = j0 - 3; j <= j0 + 4; j++)
        {
            double wy = Lanczos(row - j);
            for (int i = i0 - 3; i <= i0 + 4; i++)
            {
                double w = wy * Lanczos(column - i);
                sum += w * image[(Wrapped(j) * Size) + Wrapped(i)];
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

    private static double Lanczos(double t) => Math.Abs(t) >= 4 ? 0 : Sinc(t) * Sinc(t / 4);

    private static double Sinc(double t) => t == 0 ? 1 : Math.Sin(Math.PI * t) / (Math.PI * t);

    private int Wrapped(int k) => ((k % Size) + Size) % Size;

    private int Signed(int k) => k < Size / 2 ? k : k - Size;

    private double Frequency(int k) => Signed(k) / (Size * Step);
}
