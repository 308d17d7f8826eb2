namespace StarAssay.Engine.Stars;

/// <summary>Usual size of a star over the field: second moment, by a quadratic in x and y where there are enough stars.</summary>
internal sealed class SizeSurface
{
    private const int EnoughStars = 30;
    private const int MostStars = 1000;
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
        var places = new List<(double X, double Y, double Value)>();
        int step = Math.Max(1, stars.Length / MostStars);
        for (int i = 0; i < stars.Length; i += step)
        {
            ref readonly StarRecord star = ref stars[i];
            double det = (star.Cxx * star.Cyy) - (star.Cxy * star.Cxy);
            if (star.Snr > 20 && det > 0 && (star.Marks & (StarMarks.Saturated | StarMarks.Edge | StarMarks.NoShape | StarMarks.BadPixels)) == 0)
            {
                places.Add((star.X, star.Y, 0.5 * Math.Log(det)));
            }
        }

        double w = set.Frame.Width, h = set.Frame.Height;
        if (places.Count < 5)
        {
            return new SizeSurface([Math.Log(set.Variance), 0, 0, 0, 0, 0], w, h);
        }

        double[] sorted = [.. places.Select(p => p.Value).Order()];
        double[] fit = [sorted[sorted.Length / 2], 0, 0, 0, 0, 0];
        var surface = new SizeSurface(fit, w, h);
        if (places.Count < EnoughStars)
        {
            return surface;
        }

        for (int round = 0; round < 3; round++)
        {
            double[] rest = [.. places.Select(p => Math.Abs(p.Value - surface.Log(p.X, p.Y))).Order()];
            double limit = Math.Max(0.05, 3 * 1.4826 * rest[rest.Length / 2]);
            var kept = places.Where(p => Math.Abs(p.Value - surface.Log(p.X, p.Y)) <= limit).ToArray();
            if (kept.Length < EnoughStars)
            {
                break;
            }

            double[,] normal = new double[6, 7];
            double[] basis = new double[6];
            foreach ((double x, double y, double value) in kept)
            {
                surface.Basis(x, y, basis);
                for (int i = 0; i < 6; i++)
                {
                    for (int j = 0; j < 6; j++)
                    {
                        normal[i, j] += basis[i] * basis[j];
                    }

                    normal[i, 6] += basis[i] * value;
                }
            }

            double[] solved = Solve(normal);
            if (!Array.TrueForAll(solved, double.IsFinite))
            {
                break;
            }

            surface = new SizeSurface(solved, w, h);
        }

        return surface;
    }

    /// <summary>Usual second moment at a place, px^2.</summary>
    public double At(double x, double y) => Math.Exp(Log(x, y));

    private double Log(double x, double y)
    {
        double u = (2 * x / width) - 1, v = (2 * y / height) - 1;
        return terms[0] + (terms[1] * u) + (terms[2] * v) + (terms[3] * u * u) + (terms[4] * u * v) + (terms[5] * v * v);
    }

    private void Basis(double x, double y, double[] basis)
    {
        double u = (2 * x / width) - 1, v = (2 * y / height) - 1;
        (basis[0], basis[1], basis[2], basis[3], basis[4], basis[5]) = (1, u, v, u * u, u * v, v * v);
    }

    /// <summary>Gauss elimination with pivots; NaN when the stars do not carry six terms.</summary>
    private static double[] Solve(double[,] a)
    {
        const int N = 6;
        for (int k = 0; k < N; k++)
        {
            int pivot = k;
            for (int i = k + 1; i < N; i++)
            {
                pivot = Math.Abs(a[i, k]) > Math.Abs(a[pivot, k]) ? i : pivot;
            }

            for (int j = k; j <= N; j++)
            {
                (a[k, j], a[pivot, j]) = (a[pivot, j], a[k, j]);
            }

            for (int i = k + 1; i < N; i++)
            {
                double f = a[i, k] / a[k, k];
                for (int j = k; j <= N; j++)
                {
                    a[i, j] -= f * a[k, j];
                }
            }
        }

        double[] x = new double[N];
        for (int k = N - 1; k >= 0; k--)
        {
            double sum = a[k, N];
            for (int j = k + 1; j < N; j++)
            {
                sum -= a[k, j] * x[j];
            }

            x[k] = sum / a[k, k];
        }

        return x;
    }
}
