using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>Usual size of a star over the field: second moment, by a quadratic in x and y where there are enough stars. Where sizes follow
/// brightness, which no linear image of stars does, by a quadratic in the logarithm of the flux too.</summary>
internal sealed class SizeSurface
{
    private const int EnoughStars = 30;
    private const int MostStars = 1000;
    private const int Spatial = 6;
    private const int All = 8;
    private const int Rounds = 8;
    private const int WideRounds = 4;

    // In the logarithm of the second moment: what the surface takes in while it spreads from where most stars are, and at the end.
    private const double Wide = 0.6;
    private const double Tight = 0.1;

    // Sizes follow brightness when the slope is so sure and so steep over the range of the stars.
    private const double SlopeSure = 6;
    private const double SlopeEffect = 0.25;

    // Objects whose second moment lies within this of the surface, in its logarithm, have the stars' size.
    private const double OwnSize = 0.5;

    private readonly double[] terms;
    private readonly double width;
    private readonly double height;

    private SizeSurface(double[] terms, double width, double height, double scatter, double growth, int objects = 0, double share = 1)
    {
        this.terms = terms;
        this.width = width;
        this.height = height;
        Scatter = scatter;
        Growth = growth;
        Objects = objects;
        Share = share;
    }

    /// <summary>Scatter of the stars about it, logarithm of the second moment.</summary>
    public double Scatter { get; }

    /// <summary>Width of the bright over that of the faint stars where sizes follow brightness, else 1.</summary>
    public double Growth { get; }

    /// <summary>Bright objects behind it; 0 when they were too few for a surface.</summary>
    public int Objects { get; }

    /// <summary>Share of them that have the size which it takes for the stars'.</summary>
    public double Share { get; }

    /// <summary>Fits log(second moment) by least squares to the stars near it, starting where most are.</summary>
    public static SizeSurface Fit(StarRecord[] stars, MeterSettings set)
    {
        double w = set.Frame.Width, h = set.Frame.Height;
        int step = Math.Max(1, stars.Length / MostStars), n = 0, room = (stars.Length / step) + 1;
        double[] basis = new double[room * All], values = new double[room], light = new double[room];
        bool[] lone = new bool[room];
        for (int i = 0; i < stars.Length; i += step)
        {
            ref readonly StarRecord star = ref stars[i];
            if (SaysSize(star))
            {
                values[n] = LogSize(star);
                light[n] = Math.Log10(star.Flux);
                lone[n] = (star.Marks & StarMarks.Blended) == 0;
                Basis((2 * star.X / w) - 1, (2 * star.Y / h) - 1, light[n], basis.AsSpan(n * All, All));
                n++;
            }
        }

        double[] fit = new double[All];
        fit[0] = Math.Log(set.Variance);
        if (n < EnoughStars)
        {
            return new SizeSurface(fit, w, h, Tight, 1);
        }

        var sample = new Sample(basis, values, n);
        double scatter = sample.Spread(fit, Spatial);
        (double slope, double error, double range) = Slope(sample, fit, light, lone);
        double growth = 1;
        if (slope > SlopeSure * error && slope * range > SlopeEffect)
        {
            growth = Math.Exp(0.5 * slope * range);
            scatter = sample.Spread(fit, All);
        }

        int near = 0;
        for (int k = 0; k < n; k++)
        {
            near += Math.Abs(sample.Rest(fit, k)) < OwnSize ? 1 : 0;
        }

        return new SizeSurface(fit, w, h, scatter, growth, n, (double)near / n);
    }

    /// <summary>Usual second moment at a place, px^2.</summary>
    public double At(in StarRecord star)
    {
        double u = (2 * star.X / width) - 1, v = (2 * star.Y / height) - 1, light = Growth > 1 && star.Flux > 0 ? Math.Log10(star.Flux) : 0;

        // Written out: clearing a row of terms with wide registers, once for each star, made the exponential cost ten times as much.
        return Math.Exp(terms[0] + (terms[1] * u) + (terms[2] * v) + (terms[3] * u * u) + (terms[4] * u * v) + (terms[5] * v * v) + (terms[6] * light)
            + (terms[7] * light * light));
    }

    /// <summary>Whether a star is bright and whole enough to tell sizes.</summary>
    public static bool SaysSize(in StarRecord star) => star.Snr > 20 && star.Flux > 0 && (star.Cxx * star.Cyy) - (star.Cxy * star.Cxy) > 0.022
        && (star.Marks & (StarMarks.Saturated | StarMarks.Edge | StarMarks.NoShape | StarMarks.BadPixels)) == 0;

    /// <summary>Logarithm of the second moment, geometric mean of the axes.</summary>
    public static double LogSize(in StarRecord star) => 0.5 * Math.Log((star.Cxx * star.Cyy) - (star.Cxy * star.Cxy));

    /// <summary>How what is left of the sizes goes with brightness (per decade), its error, and the decades from faint to bright.</summary>
    private static (double Slope, double Error, double Range) Slope(Sample sample, double[] fit, double[] light, bool[] lone)
    {
        int[] use = [.. Enumerable.Range(0, sample.Count).Where(k => lone[k] && Math.Abs(sample.Rest(fit, k)) < 2 * Wide)];
        if (use.Length < EnoughStars)
        {
            return (0, 1, 0);
        }

        double[] ordered = [.. use.Select(k => light[k]).Order()];
        double range = ordered[(int)(0.95 * (ordered.Length - 1))] - ordered[(int)(0.05 * (ordered.Length - 1))];
        double b = 0, error = double.PositiveInfinity;
        double[] rest = new double[sample.Count];
        foreach (int k in use)
        {
            rest[k] = sample.Rest(fit, k);
        }

        for (int round = 0; round < 3 && use.Length >= EnoughStars / 2; round++)
        {
            double mx = 0, my = 0, sxx = 0, sxy = 0, squares = 0;
            foreach (int k in use)
            {
                (mx, my) = (mx + light[k], my + rest[k]);
            }

            (mx, my) = (mx / use.Length, my / use.Length);
            foreach (int k in use)
            {
                (sxx, sxy) = (sxx + Square(light[k] - mx), sxy + ((light[k] - mx) * (rest[k] - my)));
            }

            b = sxy / sxx;
            double a = my - (b * mx);
            foreach (int k in use)
            {
                squares += Square(rest[k] - a - (b * light[k]));
            }

            double rms = Math.Sqrt(squares / (use.Length - 2)), slope = b;
            error = rms / Math.Sqrt(sxx);
            use = Array.FindAll(use, k => Math.Abs(rest[k] - a - (slope * light[k])) < 2.5 * rms);
        }

        return (b, error, range);
    }

    private static double Square(double v) => v * v;

    /// <summary>The stars that the surface is fitted to.</summary>
    private sealed class Sample(double[] basis, double[] values, int count)
    {
        private readonly double[] ordered = new double[count];
        private readonly double[] rests = new double[count];

        public int Count => count;

        public double Rest(double[] fit, int k) => values[k] - Sum(fit, basis.AsSpan(k * All, All));

        /// <summary>Lets the fit spread over the stars near it; returns their scatter.</summary>
        public double Spread(double[] fit, int terms)
        {
            double limit = Wide, scatter = Tight;
            for (int round = 0; round < Rounds; round++)
            {
                double[,] normal = new double[terms, terms + 1];
                int kept = 0;
                for (int k = 0; k < count; k++)
                {
                    rests[k] = Math.Abs(Rest(fit, k));
                }

                for (int k = 0; k < count; k++)
                {
                    if (rests[k] <= limit)
                    {
                        Add(normal, basis.AsSpan(k * All, terms), values[k]);
                        kept++;
                    }
                }

                double[] solved = kept < EnoughStars / 2 ? [] : Solve(normal);
                if (solved.Length == 0 || !Array.TrueForAll(solved, double.IsFinite))
                {
                    break;
                }

                Array.Clear(fit);
                solved.CopyTo(fit, 0);
                int near = 0;
                for (int k = 0; k < count; k++)
                {
                    double rest = Math.Abs(Rest(fit, k));
                    ordered[near] = rest;
                    near += rest <= Wide ? 1 : 0;
                }

                scatter = near > 0 ? 1.4826 * Rank.Select(ordered.AsSpan(0, near), near / 2) : Tight;
                limit = round < WideRounds ? Wide : Math.Clamp(3 * scatter, Tight, Wide);
            }

            return scatter;
        }
    }

    private static void Basis(double u, double v, double light, Span<double> basis) =>
        (basis[0], basis[1], basis[2], basis[3], basis[4], basis[5], basis[6], basis[7]) = (1, u, v, u * u, u * v, v * v, light, light * light);

    private static double Sum(ReadOnlySpan<double> terms, ReadOnlySpan<double> basis) => terms[0] + (terms[1] * basis[1]) + (terms[2] * basis[2])
        + (terms[3] * basis[3]) + (terms[4] * basis[4]) + (terms[5] * basis[5]) + (terms[6] * basis[6]) + (terms[7] * basis[7]);

    /// <summary>Adds one star to the normal equations.</summary>
    private static void Add(double[,] normal, ReadOnlySpan<double> basis, double value)
    {
        int count = basis.Length;
        for (int i = 0; i < count; i++)
        {
            for (int j = 0; j <= i; j++)
            {
                normal[i, j] += basis[i] * basis[j];
            }

            normal[i, count] += basis[i] * value;
        }
    }

    /// <summary>Gauss elimination with pivots; NaN when the stars do not carry the terms.</summary>
    private static double[] Solve(double[,] a)
    {
        int count = a.GetLength(0);
        for (int i = 0; i < count; i++)
        {
            for (int j = 0; j < i; j++)
            {
                a[j, i] = a[i, j];
            }
        }

        for (int k = 0; k < count; k++)
        {
            int pivot = k;
            for (int i = k + 1; i < count; i++)
            {
                pivot = Math.Abs(a[i, k]) > Math.Abs(a[pivot, k]) ? i : pivot;
            }

            for (int j = k; j <= count; j++)
            {
                (a[k, j], a[pivot, j]) = (a[pivot, j], a[k, j]);
            }

            for (int i = k + 1; i < count; i++)
            {
                double f = a[i, k] / a[k, k];
                for (int j = k; j <= count; j++)
                {
                    a[i, j] -= f * a[k, j];
                }
            }
        }

        double[] x = new double[count];
        for (int k = count - 1; k >= 0; k--)
        {
            double sum = a[k, count];
            for (int j = k + 1; j < count; j++)
            {
                sum -= a[k, j] * x[j];
            }

            x[k] = sum / a[k, k];
        }

        return x;
    }
}
