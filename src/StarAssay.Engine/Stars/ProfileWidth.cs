namespace StarAssay.Engine.Stars;

/// <summary>
/// Full width at half maximum of a star's own profile, whatever its form: where its mean brightness over the directions falls to half of its
/// highest value.
/// </summary>
/// <remarks>Near a fitted profile: that profile times a polynomial in the squared elliptical radius, by least squares, so that the pixels'
/// blur and the ellipse are those of the fit. Flat tops, which no bell curve comes near: rings of the curve of growth.</remarks>
internal static class ProfileWidth
{
    private const int MostTerms = 4;
    private const int FewerPixels = 30;
    private const int FewestPixels = 9;
    private const double FaintSnr = 60;
    private const double BrightSnr = 150;

    // Squared radius over that of the fitted half maximum, out to which pixels count.
    private const double Farthest = 4;
    private const double GridStep = 0.2;
    private const int Halvings = 14;

    // A ring's rim is its highest place; farther out nothing is.
    private const double HighestWithin = 1.6;

    // Rings are a thirtieth of the disc wide, at least half a pixel.
    private const double RingShare = 1.0 / 30;
    private const double LeastRing = 0.5;
    private const int Window = 3;
    private const int MostRings = 200;

    /// <summary>A width and its standard uncertainty; NaN where there is none.</summary>
    internal readonly record struct Width(double Value, double Uncertainty)
    {
        public static readonly Width None = new(double.NaN, double.NaN);
    }

    /// <summary>Width of a star that a Moffat profile was fitted to; geometric mean of the axes.</summary>
    /// <param name="stamp">The star, sky subtracted.</param>
    /// <param name="model">Work space of the same size.</param>
    /// <param name="m">The fitted profile.</param>
    /// <param name="variance">Variance of a sky pixel.</param>
    /// <param name="perElectron">ADU of variance for one ADU of light, or 0.</param>
    /// <param name="snr">Signal-to-noise ratio: of faint stars the noise would bend a polynomial of many terms.</param>
    public static Width Near(Stamp stamp, Stamp model, in Moffat m, double variance, double perElectron, double snr)
    {
        double half = Math.Pow(2, 1 / m.Beta) - 1, limit = Farthest * half;
        double reachX = Math.Sqrt(limit * m.R / m.Det), reachY = Math.Sqrt(limit * m.P / m.Det);
        int x0 = (int)Math.Max(0, Math.Ceiling(m.X - reachX)), x1 = (int)Math.Min(stamp.Side - 1, Math.Floor(m.X + reachX));
        int y0 = (int)Math.Max(0, Math.Ceiling(m.Y - reachY)), y1 = (int)Math.Min(stamp.Side - 1, Math.Floor(m.Y + reachY));
        if (x1 < x0 || y1 < y0)
        {
            return Width.None;
        }

        MoffatKernel.Draw(model, new MoffatKernel.Area(x0, y0, x1 - x0 + 1, y1 - y0 + 1), m, true);
        int terms = snr < FaintSnr ? 2 : snr < BrightSnr || (x1 - x0 + 1) * (y1 - y0 + 1) < FewerPixels ? MostTerms - 1 : MostTerms, pixels = 0;
        Span<double> normal = stackalloc double[MostTerms * MostTerms], c = stackalloc double[MostTerms], basis = stackalloc double[MostTerms];
        for (int y = y0; y <= y1; y++)
        {
            for (int x = x0; x <= x1; x++)
            {
                double dx = x - m.X, dy = y - m.Y, t = ((m.P * dx * dx) + (2 * m.K * dx * dy) + (m.R * dy * dy)) / limit;
                if (t > 1)
                {
                    continue;
                }

                pixels++;
                double value = model[x, y], weight = 1 / (variance + (Math.Max(0, value) * perElectron));
                double tx = 2 * ((m.P * dx) + (m.K * dy)) / limit, ty = 2 * ((m.K * dx) + (m.R * dy)) / limit;
                OverPixel(new At(t, (tx * tx) + (ty * ty), 2 * (m.P + m.R) / limit, m.Beta * limit / (1 + (limit * t))), value, basis[..terms]);
                for (int i = 0; i < terms; i++)
                {
                    c[i] += weight * basis[i] * (stamp[x, y] - value);
                    for (int j = 0; j <= i; j++)
                    {
                        normal[(i * terms) + j] += weight * basis[i] * basis[j];
                    }
                }
            }
        }

        return pixels >= FewestPixels && Factor(normal, terms) ? Solved(normal, c[..terms], m.Beta, half, m.Fwhm) : Width.None;
    }

    /// <summary>Width of a disc or ring: its diameter.</summary>
    /// <param name="stamp">The star, sky subtracted.</param>
    /// <param name="x">Center, stamp columns.</param>
    /// <param name="y">Center, stamp rows.</param>
    /// <param name="halfFluxRadius">Its half-flux radius, pixels.</param>
    /// <param name="outer">How far the light goes, pixels.</param>
    /// <param name="variance">Variance of a sky pixel.</param>
    /// <param name="perElectron">ADU of variance for one ADU of light, or 0.</param>
    public static Width OfDisc(Stamp stamp, double x, double y, double halfFluxRadius, double outer, double variance, double perElectron)
    {
        // A disc's diameter is 2.8 half-flux radii.
        double step = Math.Max(LeastRing, 2.8 * halfFluxRadius * RingShare);
        int rings = Math.Min(MostRings, (int)(outer / step));
        if (!(halfFluxRadius > 0) || rings < Window + 2)
        {
            return Width.None;
        }

        Span<double> light = stackalloc double[rings + 1];
        for (int k = 1; k <= rings; k++)
        {
            light[k] = CurveOfGrowth.Inside(stamp, x, y, k * step);
        }

        double Area(int from, int to) => Math.PI * step * step * ((to * (double)to) - (from * (double)from));
        double highest = 0, areaThere = 1;
        int top = 0;
        for (int k = 0; k + Window <= rings; k++)
        {
            double mean = (light[k + Window] - light[k]) / Area(k, k + Window);
            (highest, areaThere, top) = mean > highest ? (mean, Area(k, k + Window), k) : (highest, areaThere, top);
        }

        double before = highest;
        for (int k = top + 1; k < rings; k++)
        {
            double now = (light[k + 1] - light[k]) / Area(k, k + 1);
            if (now < 0.5 * highest && before > now)
            {
                double share = Math.Clamp((before - (0.5 * highest)) / (before - now), 0, 1), radius = (k - 0.5 + share) * step;
                double ring = (variance + (0.5 * highest * perElectron)) / Area(k - 1, k), level = 0.25 * (variance + (highest * perElectron)) / areaThere;
                return new Width(2 * radius, 2 * step * Math.Sqrt(ring + level) / (before - now));
            }

            before = now;
        }

        return Width.None;
    }

    /// <summary>A place in the profile: squared radius t, its squared slope, its Laplacian, and how fast the logarithm of the light falls with t.</summary>
    private readonly record struct At(double T, double Slope, double Curve, double Falls);

    /// <summary>Means over the pixel of the fitted light M times t^k, from the mean of M: to second order in the pixel's size they differ from
    /// mean(M) t^k by (2 grad M . grad t^k + M Laplacian t^k) / 24.</summary>
    private static void OverPixel(in At at, double value, Span<double> basis)
    {
        double power = 1, lower = 0, lowest = 0;
        for (int k = 0; k < basis.Length; k++)
        {
            double more = (k * lower * (at.Curve - (2 * at.Falls * at.Slope))) + (k * (k - 1) * lowest * at.Slope);
            basis[k] = value * (power + (more / 24));
            (lowest, lower, power) = (lower, power, power * at.T);
        }
    }

    private static void Powers(double t, double first, Span<double> powers)
    {
        double power = first;
        for (int i = 0; i < powers.Length; i++, power *= t)
        {
            powers[i] = power;
        }
    }

    /// <summary>Where the profile, (1 + Q)^-beta times one plus the polynomial, falls to half of its highest value.</summary>
    private static Width Solved(ReadOnlySpan<double> factor, Span<double> c, double beta, double half, double fwhm)
    {
        Span<double> slope = stackalloc double[c.Length], at = stackalloc double[c.Length];
        Back(factor, c, slope);
        slope.CopyTo(c);

        double top = 0, highest = Profile(c, beta, half, 0);
        for (double s = GridStep; s <= HighestWithin; s += GridStep)
        {
            double value = Profile(c, beta, half, s);
            (top, highest) = value > highest ? (s, value) : (top, highest);
        }

        double low = top, high = top;
        while (high < Farthest && Profile(c, beta, half, high) >= 0.5 * highest)
        {
            (low, high) = (high, high + GridStep);
        }

        if (high >= Farthest || !(highest > 0))
        {
            return Width.None;
        }

        for (int round = 0; round < Halvings; round++)
        {
            double middle = 0.5 * (low + high);
            (low, high) = Profile(c, beta, half, middle) >= 0.5 * highest ? (middle, high) : (low, middle);
        }

        // g = ln f(s) - ln f(top) + ln 2 = 0: ds = -(dg/dc . dc) / (dg/ds).
        double size = 0.5 * (low + high);
        Powers(size / Farthest, 1, at);
        double there = 1 + Sum(c, at);
        Powers(top / Farthest, 1, slope);
        double atTop = 1 + Sum(c, slope);
        for (int i = 0; i < c.Length; i++)
        {
            slope[i] = (at[i] / there) - (slope[i] / atTop);
        }

        Back(factor, slope, at);
        double falls = (Profile(c, beta, half, size + 1e-3) - Profile(c, beta, half, size - 1e-3)) / (2e-3 * 0.5 * highest);
        double width = fwhm * Math.Sqrt(size), error = Math.Sqrt(Math.Max(0, Sum(slope, at))) / Math.Abs(falls);
        return new Width(width, 0.5 * width * error / size);
    }

    private static double Profile(ReadOnlySpan<double> c, double beta, double half, double s)
    {
        double sum = 1, power = 1;
        foreach (double value in c)
        {
            sum += value * power;
            power *= s / Farthest;
        }

        return sum * Math.Pow(1 + (half * s), -beta);
    }

    private static double Sum(ReadOnlySpan<double> a, ReadOnlySpan<double> b)
    {
        double sum = 0;
        for (int i = 0; i < a.Length; i++)
        {
            sum += a[i] * b[i];
        }

        return sum;
    }

    /// <summary>Cholesky factor in place of the lower half.</summary>
    private static bool Factor(Span<double> a, int n)
    {
        for (int i = 0; i < n; i++)
        {
            for (int j = 0; j <= i; j++)
            {
                double sum = a[(i * n) + j];
                for (int k = 0; k < j; k++)
                {
                    sum -= a[(i * n) + k] * a[(j * n) + k];
                }

                if (i == j && !(sum > 1e-9 * a[(i * n) + j]))
                {
                    return false;
                }

                a[(i * n) + j] = i == j ? Math.Sqrt(sum) : sum / a[(j * n) + j];
            }
        }

        return true;
    }

    private static void Back(ReadOnlySpan<double> factor, ReadOnlySpan<double> b, Span<double> x)
    {
        int n = b.Length;
        for (int i = 0; i < n; i++)
        {
            double sum = b[i];
            for (int k = 0; k < i; k++)
            {
                sum -= factor[(i * n) + k] * x[k];
            }

            x[i] = sum / factor[(i * n) + i];
        }

        for (int i = n - 1; i >= 0; i--)
        {
            double sum = x[i];
            for (int k = i + 1; k < n; k++)
            {
                sum -= factor[(k * n) + i] * x[k];
            }

            x[i] = sum / factor[(i * n) + i];
        }
    }
}
