using MathNet.Numerics.LinearAlgebra;

namespace StarAssay.Engine.Measurements.Reflections;

/// <summary>How the camera drew what it saw: radial distortion and perspective.</summary>
/// <remarks>
/// A direction at the angle a from the camera's axis lies f tan a from the picture's middle, and distortion moves it to u (1 + k (u / H)^2), H being half
/// the picture's diagonal. Of a circle seen from its own axis the outline is a circle only in the middle of the picture; elsewhere it is
/// an ellipse whose middle is not the circle's. In the plane that touches the sphere of directions at the circle's own middle it is one.
/// </remarks>
/// <param name="Columns">Of the picture.</param>
/// <param name="Rows">Of the picture.</param>
/// <param name="Distortion">k.</param>
/// <param name="Perspective">(H / f)^2; 0 = seen from infinity.</param>
internal readonly record struct PhotoView(int Columns, int Rows, double Distortion, double Perspective)
{
    private const double Far = 1e6;

    /// <summary>Half the diagonal.</summary>
    public double Half => 0.5 * Math.Sqrt(((double)Columns * Columns) + ((double)Rows * Rows));

    private double Focal => Half / Math.Sqrt(Math.Max(Perspective, 1 / (Far * Far)));

    /// <summary>A place in the picture as a place in the straightened one, from the middle.</summary>
    public (double X, double Y) Straight(double x, double y)
    {
        double dx = x - (0.5 * (Columns - 1)), dy = y - (0.5 * (Rows - 1)), h = Half, seen = Math.Sqrt((dx * dx) + (dy * dy)) / h, found = seen;
        for (int turn = 0; turn < 8; turn++)
        {
            found -= ((found * (1 + (Distortion * found * found))) - seen) / (1 + (3 * Distortion * found * found));
        }

        double share = seen > 1e-12 ? found / seen : 1;
        return (dx * share, dy * share);
    }

    /// <summary>A place in the straightened picture in the plane that touches at another one, in pixels of the picture's middle.</summary>
    public (double X, double Y) Touching((double X, double Y) at, (double X, double Y) place)
    {
        double f = Focal;
        (double ax, double ay, double az) = Unit(at.X, at.Y, f);
        (double x, double y, double z) = Unit(place.X, place.Y, f);

        // The shortest turn that brings the point of contact into the axis.
        double along = (ax * x) + (ay * y), share = (along / (1 + az)) + z;
        double tx = x - (ax * share), ty = y - (ay * share), tz = (az * z) + along;
        return (f * tx / tz, f * ty / tz);
    }

    /// <summary>The other way.</summary>
    public (double X, double Y) Back((double X, double Y) at, (double X, double Y) touching)
    {
        double f = Focal;
        (double ax, double ay, double az) = Unit(at.X, at.Y, f);
        (double x, double y, double z) = Unit(touching.X, touching.Y, f);
        double along = (ax * x) + (ay * y), share = z - (along / (1 + az));
        double tx = x + (ax * share), ty = y + (ay * share), tz = (az * z) - along;
        return (f * tx / tz, f * ty / tz);
    }

    /// <summary>The circle through edge points: its middle in the straightened picture, and its outline in the plane that touches there.</summary>
    public ((double X, double Y) Middle, Outline Outline, Matrix<double> Covariance, double Rms) Circle(double[] x, double[] y)
    {
        PhotoView view = this;
        (double X, double Y)[] places = [.. x.Select((v, i) => view.Straight(v, y[i]))];
        (double X, double Y) middle = (places.Average(p => p.X), places.Average(p => p.Y));
        var outline = new Outline(0, 0, places.Average(p => Math.Sqrt(Math.Pow(p.X - middle.X, 2) + Math.Pow(p.Y - middle.Y, 2))), 0, 0);
        Matrix<double> covariance = Matrix<double>.Build.Dense(5, 5);
        double rms = 0;
        for (int turn = 0; turn < 6; turn++)
        {
            (double X, double Y)[] flat = [.. places.Select(p => view.Touching(middle, p))];
            (outline, covariance, _, rms) = outline.Fit([.. flat.Select(p => p.X)], [.. flat.Select(p => p.Y)], false);
            middle = Back(middle, (outline.X, outline.Y));
            bool still = Math.Abs(outline.X) + Math.Abs(outline.Y) < 1e-7 * outline.R;
            outline = outline with { X = 0, Y = 0 };
            if (still)
            {
                break;
            }
        }

        return (middle, outline, covariance, rms);
    }

    private static (double X, double Y, double Z) Unit(double x, double y, double z)
    {
        double size = Math.Sqrt((x * x) + (y * y) + (z * z));
        return (x / size, y / size, z / size);
    }
}
