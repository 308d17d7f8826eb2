namespace StarAssay.Engine.Optics;

/// <summary>Draws a pupil on a square grid, each sample the share of its square that passes light.</summary>
/// <remarks>A sample of 0 or 1 at the edge moves the edge by up to half a step and puts speckle into the diffraction
/// image; the covered area keeps area and position of every edge. Circles are exact; squares that a vane or a second
/// circle crosses are split 32 x 32.</remarks>
public static class PupilRaster
{
    private const int Split = 32;

    /// <summary>Transmission of every sample, rows along x, first row lowest y.</summary>
    /// <param name="shape">What passes light.</param>
    /// <param name="size">Samples along each axis; the pupil's centre lies on sample size/2.</param>
    /// <param name="samplesAcross">Samples that the pupil's diameter spans; need not be whole.</param>
    public static double[] Draw(PupilShape shape, int size, double samplesAcross)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(size, 1);
        double[] field = new double[size * size];
        Draw(shape, size, samplesAcross, field);
        return field;
    }

    /// <summary>The same into memory that is given and zero; the centre may lie beside its sample, by a share of the step.</summary>
    internal static void Draw(PupilShape shape, int size, double samplesAcross, Span<double> field, double offset = 0)
    {
        shape.RequireValid();
        ArgumentOutOfRangeException.ThrowIfLessThanOrEqual(samplesAcross, 0);
        double step = 2 / samplesAcross;
        double half = step / 2;
        double reach = half * Math.Sqrt(2);
        Stripe[] vanes = [.. shape.Vanes.Select(v => v.Stripe)];
        for (int j = 0; j < size; j++)
        {
            double y = (j - (size / 2) + offset) * step;
            for (int i = 0; i < size; i++)
            {
                double x = (i - (size / 2) + offset) * step;
                double r = Math.Sqrt((x * x) + (y * y));
                double hx = x - shape.ObstructionX, hy = y - shape.ObstructionY;
                double hole = Math.Sqrt((hx * hx) + (hy * hy));
                if (r > 1 + reach || hole < shape.Obstruction - reach)
                {
                    continue;
                }

                field[(j * size) + i] = NeedsSplitting(shape, vanes, x, y, reach)
                    ? SplitShare(shape, vanes, x, y, step)
                    : CircleShare(shape.Obstruction, (x, y, r), (hx, hy, hole), half, reach);
            }
        }
    }

    /// <summary>Area of a circle round the origin inside a rectangle.</summary>
    internal static double CircleArea(double radius, double x0, double x1, double y0, double y1) =>
        Corner(radius, x1, y1) - Corner(radius, x0, y1) - Corner(radius, x1, y0) + Corner(radius, x0, y0);

    private static bool NeedsSplitting(PupilShape shape, Stripe[] vanes, double x, double y, double reach)
    {
        foreach (Stripe vane in vanes)
        {
            if (vane.DistanceInside(x, y) > -reach)
            {
                return true;
            }
        }

        return shape.Vignetting is { } cut && Math.Sqrt(((x - cut.X) * (x - cut.X)) + ((y - cut.Y) * (y - cut.Y))) > cut.Radius - reach;
    }

    // A point with its distance from the centre of the circle that is asked about.
    private static double CircleShare(double obstruction, (double X, double Y, double R) rim, (double X, double Y, double R) hole, double half, double reach)
    {
        double area = 4 * half * half;
        double share = rim.R > 1 - reach ? CircleArea(1, rim.X - half, rim.X + half, rim.Y - half, rim.Y + half) / area : 1;
        return obstruction > 0 && hole.R < obstruction + reach
            ? share - (CircleArea(obstruction, hole.X - half, hole.X + half, hole.Y - half, hole.Y + half) / area)
            : share;
    }

    private static double SplitShare(PupilShape shape, Stripe[] vanes, double x, double y, double step)
    {
        double reach = step / Math.Sqrt(2);
        Stripe[] near = [.. vanes.Where(v => v.DistanceInside(x, y) > -reach)];
        int count = 0;
        for (int b = 0; b < Split; b++)
        {
            double py = y + (((b + 0.5) / Split) - 0.5) * step;
            for (int a = 0; a < Split; a++)
            {
                count += shape.Passes(x + ((((a + 0.5) / Split) - 0.5) * step), py, near) ? 1 : 0;
            }
        }

        return count / (double)(Split * Split);
    }

    // Signed area of the circle inside the rectangle between the origin and (x, y); odd in both.
    private static double Corner(double radius, double x, double y)
    {
        double a = Math.Min(Math.Abs(x), radius);
        double b = Math.Min(Math.Abs(y), radius);
        double meet = Math.Sqrt((radius * radius) - (b * b));
        double area = a <= meet ? a * b : (b * meet) + Under(radius, a) - Under(radius, meet);
        return Math.Sign(x) * Math.Sign(y) * area;
    }

    // Integral of sqrt(radius^2 - x^2) from 0 to x.
    private static double Under(double radius, double x) =>
        0.5 * ((x * Math.Sqrt(Math.Max(0, (radius * radius) - (x * x)))) + (radius * radius * Math.Asin(x / radius)));
}
