using System.Numerics.Tensors;

namespace StarAssay.Engine.Measurements.Wavefront.SecondOpinion;

/// <summary>Moments of one image about its own centroid, in units of its flux.</summary>
/// <param name="Values">One for each test function.</param>
/// <param name="CenterX">Centroid, in the grid's coordinates.</param>
/// <param name="CenterY">Centroid, in the grid's coordinates.</param>
/// <param name="Flux">Faded sum.</param>
internal sealed record Moments(double[] Values, double CenterX, double CenterY, double Flux)
{
    private const int Rounds = 12;

    /// <summary>Takes moments.</summary>
    /// <param name="image">Intensity, rows along x.</param>
    /// <param name="width">Samples along x.</param>
    /// <param name="height">Samples along y.</param>
    /// <param name="radius">Disc radius in samples.</param>
    /// <param name="turn">+1 upright, -1 turned by 180 degrees.</param>
    /// <param name="basis">Test functions.</param>
    /// <param name="startX">Where the search for the centroid begins.</param>
    /// <param name="startY">Where the search for the centroid begins.</param>
    public static Moments Of(ReadOnlySpan<float> image, int width, int height, double radius, int turn, MomentBasis basis, double startX, double startY)
    {
        double cx = startX;
        double cy = startY;
        double flux = 0;
        for (int round = 0; round < Rounds; round++)
        {
            flux = 0;
            double sx = 0;
            double sy = 0;
            for (int j = 0; j < height; j++)
            {
                double y = (j - cy) / radius;
                for (int i = 0; i < width; i++)
                {
                    double x = (i - cx) / radius;
                    double light = image[(j * width) + i] * basis.Fade(x, y);
                    flux += light;
                    sx += light * x;
                    sy += light * y;
                }
            }

            cx += sx / flux * radius;
            cy += sy / flux * radius;
            if (Math.Abs(sx) + Math.Abs(sy) < 1e-7 * flux)
            {
                break;
            }
        }

        return new Moments(About(image, width, height, radius, turn, basis, cx, cy, flux), cx, cy, flux);
    }

    /// <summary>Moments about a given center.</summary>
    public static double[] About(ReadOnlySpan<float> image, int width, int height, double radius, int turn, MomentBasis basis, double cx, double cy,
        double flux)
    {
        double[] sums = new double[basis.Stride];
        Span<double> values = stackalloc double[basis.Stride];
        for (int j = 0; j < height; j++)
        {
            double y = turn * (j - cy) / radius;
            for (int i = 0; i < width; i++)
            {
                if (basis.Evaluate(turn * (i - cx) / radius, y, values))
                {
                    TensorPrimitives.MultiplyAdd(values, image[(j * width) + i] / flux, sums, sums);
                }
            }
        }

        return sums[..basis.Count];
    }
}
