namespace StarAssay.Engine.Stars;

/// <summary>
/// Undoes what the pixels do to a star's half-flux radius and center, with the frame's usual Moffat profile as the guide.
/// </summary>
/// <remarks>
/// Recording in squares blurs the light once, reading the squares as uniform blurs it a second time, and how much depends on
/// where in its pixel a small star stands. The model star is drawn at the same place; the radius that truly holds the light
/// which its recorded pixels show within the measured radius is the answer. For large stars the blur of v = 2/12 px^2 adds
/// v g to h^2, g = -dlnI/dlnr at h. The same blur carries pi v R |I'(R)| of the light out of the outer circle, R: 0.1 to 0.2 % of a star of
/// 1.5 to 2 pixels; half of what was recorded there is that much less than half of the star.
/// </remarks>
internal sealed class PixelBlur(double beta, double outerRadius)
{
    private const double LargeRadius = 3;

    // Slope of the logarithm of the curve of growth at the half-flux radius.
    private const double Growth = 1.34;
    private const int Half = 7;

    // Width over half-flux radius, tabled as far as it is asked for; a straight line between two entries is good to 1e-5.
    private const int Ratios = 64;
    private const double RatioStep = LargeRadius / (Ratios - 2);
    private readonly Stamp drawn = new(Half);
    private readonly double q = Math.Pow(2, 1 / (beta - 1)) - 1;
    private readonly double steepness = 2 * beta * (1 - Math.Pow(2, 1 / (1 - beta)));
    private readonly double[] ratios = new double[Ratios];
    private readonly double[] losses = new double[Ratios];

    /// <summary>Half-flux radius without the pixels' blur.</summary>
    /// <param name="recorded">Measured on the pixels as uniform squares.</param>
    /// <param name="x">Center of the star.</param>
    /// <param name="y">Center of the star.</param>
    public double Radius(double recorded, double x, double y)
    {
        if (!(recorded < LargeRadius))
        {
            return OfLarge(recorded, steepness);
        }

        double radius = Math.Sqrt(Math.Max(0.1, (recorded * recorded) - (steepness / 6)));

        double fx = x - Math.Round(x), fy = y - Math.Round(y);

        // The last pixel that the circle touches: half a pixel beyond its rim, seen from the star's place in its pixel.
        int reach = Math.Min(Half, (int)(recorded + 0.5 + Math.Max(Math.Abs(fx), Math.Abs(fy)))), rounds = recorded < 1.7 ? 3 : 1;
        var area = new MoffatKernel.Area(Half - reach, Half - reach, (2 * reach) + 1, (2 * reach) + 1);
        for (int round = 0; round < rounds; round++)
        {
            double alpha = radius * AlphaPerRadius(radius);
            if (alpha < 1.5)
            {
                MoffatKernel.Draw(drawn, area, Moffat.Round(Half + fx, Half + fy, alpha, beta), true);
            }
            else
            {
                MoffatKernel.DrawRound(drawn, area, Half + fx, Half + fy, new PixelSeries(alpha, beta));
            }

            double share = CurveOfGrowth.Inside(drawn, Half + fx, Half + fy, recorded) / (1 - LossAt(radius));
            radius = Moffat.RadiusOf(Math.Min(0.95, share), alpha, beta);
        }

        return radius;
    }

    /// <summary>The same of a star that shows itself how steep it is.</summary>
    /// <param name="recorded">Measured on the pixels as uniform squares.</param>
    /// <param name="steep">-dlnI/dlnr at the half-flux radius: 1.4 for a Gaussian, 0 for a disc.</param>
    public double OfLarge(double recorded, double steep)
    {
        double radius = Math.Sqrt(Math.Max(0.1, (recorded * recorded) - (steep / 6)));
        return radius * (1 + (Loss(radius / Math.Sqrt(q)) / Growth));
    }

    /// <summary>What the pixels do to a small round star that stands at this place.</summary>
    /// <param name="X">Measured less true center.</param>
    /// <param name="Y">Measured less true center.</param>
    /// <param name="Stretch">Half the difference of the moments along x and y.</param>
    /// <param name="Shear">The mixed moment.</param>
    internal readonly record struct Bias(double X, double Y, double Stretch, double Shear);

    /// <summary>Draws the model star and measures it as the real one was.</summary>
    public Bias OfSmallStar(double radius, double x, double y, in Ellipse ellipse, double widening)
    {
        double cx = Half + x - Math.Round(x), cy = Half + y - Math.Round(y);
        MoffatKernel.Draw(drawn, new MoffatKernel.Area(0, 0, drawn.Side, drawn.Side), Moffat.Round(cx, cy, radius * AlphaPerRadius(radius), beta), true);
        Ellipse e = AdaptiveMoments.Measure(drawn, cx, cy, 0.5 * (ellipse.Cxx + ellipse.Cyy), 0);
        if (!e.Converged)
        {
            return default;
        }

        (double mx, double my) = AdaptiveMoments.Center(drawn, e, widening);
        return new Bias(mx - cx, my - cy, 0.5 * (e.Cxx - e.Cyy), e.Cxy);
    }

    /// <summary>Width of the Moffat profile whose light within the outer circle has this half radius, over the radius.</summary>
    private double AlphaPerRadius(double radius)
    {
        double at = radius / RatioStep;
        if (!(at < Ratios - 1))
        {
            return Ratio(radius);
        }

        int i = (int)at;
        return Entry(i) + ((at - i) * (Entry(i + 1) - Entry(i)));
    }

    /// <summary>Share of the light within the outer circle that the pixels carry out of it.</summary>
    private double LossAt(double radius)
    {
        double at = radius / RatioStep;
        int i = Math.Min((int)at, Ratios - 2);
        return LossEntry(i) + ((at - i) * (LossEntry(i + 1) - LossEntry(i)));
    }

    private double LossEntry(int i)
    {
        double radius = Math.Max(i, 1) * RatioStep;
        return losses[i] > 0 ? losses[i] : losses[i] = Loss(radius * Entry(i));
    }

    private double Loss(double alpha)
    {
        double square = alpha * alpha, t = 1 + (outerRadius * outerRadius / square), tail = Math.Pow(t, -beta);
        double slope = 2 * beta * outerRadius / square * (beta - 1) / (Math.PI * square) * tail / t;
        return Math.PI / 6 * outerRadius * slope / (1 - (tail * t));
    }

    private double Entry(int i) => ratios[i] > 0 ? ratios[i] : ratios[i] = Ratio(Math.Max(i, 1) * RatioStep);

    private double Ratio(double radius)
    {
        double alpha = radius / Math.Sqrt(q);
        for (int i = 0; i < 2; i++)
        {
            double half = 0.5 * Moffat.Inside(outerRadius, alpha, beta);
            alpha = radius / Math.Sqrt(Math.Pow(1 - half, 1 / (1 - beta)) - 1);
        }

        return alpha / radius;
    }
}
