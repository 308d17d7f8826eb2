using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>Usual size of a star over the field: second moment, by a quadratic in x and y where there are enough stars.</summary>
internal sealed class SizeSurface
{
    private const int EnoughStars = 30;
    private const int MostStars = 1000;
    private const int Terms = 6;
    private readonly double[] terms;
    private readonly double width;
    private readonly double height;

    private SizeSurface(double[] terms, double width, double height)
    {
        this.terms = terms;
        this.width = width;
        this.height = height;
    }

    /// <summary>Fits log(second moment) by least squares, dropping outliers three times.</summary>
    public static SizeSurface Fit(StarRecord[] stars, MeterSettings set)
    {
        double w = set.Frame.Width, h = set.Frame.Height;
        int step = Math.Max(1, stars.Length / MostStars), n = 0;
        double[] basis = new double[(stars.Length / step * Terms) + Terms], values = new double[(stars.Length / step) + 1];
        for (int i = 0; i < stars.Length; i += step)
        {
            ref readonly StarRecord star = ref stars[i];
            double det = (star.Cxx * star.Cyy) - (star.Cxy * star.Cxy);
            if (star.Snr > 20 && det > 0 && (star.Marks & (StarMarks.Saturated | StarMarks.Edge | StarMarks.NoShape | StarMarks.BadPixels)) == 0)
            {
                values[n] = 0.5 * Math.Log(det);
                Basis((2 * star.X / w) - 1, (2 * star.Y / h) - 1, basis.AsSpan(n * Terms, Terms));
                n++;
            }
        }

        if (n < 5)
        {
            return new SizeSurface([Math.Log(set.Variance), 0, 0, 0, 0, 0], w, h);
        }

        double[] rest = new double[n], ordered = new double[n], fit = [Middle(values.AsSpan(0, n), ordered), 0, 0, 0, 0, 0];
        if (n < EnoughStars)
        {
            return new SizeSurface(fit, w, h);
        }

        for (int round = 0; round < 3; round++)
        {
            for (int k = 0; k < n; k++)
            {
                rest[k] = Math.Abs(values[k] - Sum(fit, basis.AsSpan(k * Terms, Terms)));
            }

            double limit = Math.Max(0.05, 3 * 1.4826 * Middle(rest, ordered));
            double[,] normal = new double[Terms, Terms + 1];
            int kept = 0;
            for (int k = 0; k < n; k++)
            {
                if (rest[k] <= limit)
                {
                    Add(normal, basis.AsSpan(k * Terms, Terms), values[k]);
                    kept++;
                }
            }

            if (kept < EnoughStars)
            {
                break;
            }

            double[] solved = Solve(normal);
            if (!Array.TrueForAll(solved, double.IsFinite))
            {
                break;
            }

            fit = solved;
        }

        return new SizeSurface(fit, w, h);
    }

    /// <summary>Usual second moment at a place, px^2.</summary>
    public double At(double x, double y) => Math.Exp(Log(x, y));

    private double Log(double x, double y)
    {
        Span<double> basis = stackalloc double[Terms];
        Basis((2 * x / width) - 1, (2 * y / height) - 1, basis);
        return Sum(terms, basis);
    }

    private static void Basis(double u, double v, Span<double> basis) =>
        (basis[0], basis[1], basis[2], basis[3], basis[4], basis[5]) = (1, u, v, u * u, u * v, v * v);

    private static double Sum(ReadOnlySpan<double> terms, ReadOnlySpan<double> basis) => terms[0] + (terms[1] * basis[1]) + (terms[2] * basis[2])
        + (terms[3] * basis[3]) + (terms[4] * basis[4]) + (terms[5] * basis[5]);

    /// <summary>The upper middle one of some values.</summary>
    private static double Middle(ReadOnlySpan<double> values, Span<double> work)
    {
        values.CopyTo(work);
        return Rank.Select(work[..values.Length], values.Length / 2);
    }

    /// <summary>Adds one star to the normal equations.</summary>
    private static void Add(double[,] normal, ReadOnlySpan<double> basis, double value)
    {
        for (int i = 0; i < Terms; i++)
        {
            for (int j = 0; j < Terms; j++)
            {
                normal[i, j] += basis[i] * basis[j];
            }

            normal[i, Terms] += basis[i] * value;
        }
    }

    /// <summary>Gauss elimination with pivots; NaN when the stars do not carry six terms.</summary>
    private static double[] Solve(double[,] a)
    {
        for (int k = 0; k < Terms; k++)
        {
            int pivot = k;
            for (int i = k + 1; i < Terms; i++)
            {
                pivot = Math.Abs(a[i, k]) > Math.Abs(a[pivot, k]) ? i : pivot;
            }

            for (int j = k; j <= Terms; j++)
            {
                (a[k, j], a[pivot, j]) = (a[pivot, j], a[k, j]);
            }

            for (int i = k + 1; i < Terms; i++)
            {
                double f = a[i, k] / a[k, k];
                for (int j = k; j <= Terms; j++)
                {
                    a[i, j] -= f * a[k, j];
                }
            }
        }

        double[] x = new double[Terms];
        for (int k = Terms - 1; k >= 0; k--)
        {
            double sum = a[k, Terms];
            for (int j = k + 1; j < Terms; j++)
            {
                sum -= a[k, j] * x[j];
            }

            x[k] = sum / a[k, k];
        }

        return x;
    }
}
