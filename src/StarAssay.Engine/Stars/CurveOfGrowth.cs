using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Light inside a circle of any center and radius: every pixel counts with the exact area it shares with the circle.
/// </summary>
internal static partial class CurveOfGrowth
{
    // Room for the pixels on the rim, about 8 r of them, in pieces.
    private const int Piece = 64;

    // Up to here areas are differences of corner areas in single precision: off by r^2 x 1e-7, 2e-5 of a pixel.
    private const double CornersRadius = 16;

    /// <summary>Sum inside a circle.</summary>
    /// <param name="stamp">The star.</param>
    /// <param name="cx">Center, stamp columns.</param>
    /// <param name="cy">Center, stamp rows.</param>
    /// <param name="radius">Pixels; the circle should lie within the stamp.</param>
    public static double Inside(Stamp stamp, double cx, double cy, double radius) =>
        !Vector128.IsHardwareAccelerated || !(radius > 0) ? InsideScalar(stamp, cx, cy, radius)
        : Vector512.IsHardwareAccelerated ? Inside<Lanes512>(stamp, cx, cy, radius)
        : Vector256.IsHardwareAccelerated ? Inside<Lanes256>(stamp, cx, cy, radius)
        : Inside<Lanes128>(stamp, cx, cy, radius);

    private static double Inside<T>(Stamp stamp, double cx, double cy, double radius)
        where T : struct, ILanes<T> =>
        radius <= CornersRadius ? InsideCorners<T>(stamp, cx, cy, radius) : InsideLanes<T>(stamp, cx, cy, radius);

    /// <summary>Pixels of one row that the circle touches, and those among them that it covers fully.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static (int From, int To, int FullFrom, int FullTo) Span(int side, double cx, double cy, double r2, int y)
    {
        // Nearest and farthest distance of this row from the center, and how far the circle reaches there.
        double dy = Math.Abs(y - cy);
        double nearest = Math.Max(0, dy - 0.5), farthest = dy + 0.5;
        double reach = Math.Sqrt(Math.Max(0, r2 - (nearest * nearest)));
        int from = Math.Max(0, (int)Math.Ceiling(cx - reach - 0.5)), to = Math.Min(side - 1, (int)Math.Floor(cx + reach + 0.5));
        double full = r2 - (farthest * farthest);
        if (full > 0)
        {
            double half = Math.Sqrt(full);
            int fullFrom = Math.Max(from, (int)Math.Ceiling(cx - half + 0.5)), fullTo = Math.Min(to, (int)Math.Floor(cx + half - 0.5));
            if (fullTo >= fullFrom)
            {
                return (from, to, fullFrom, fullTo);
            }
        }

        return (from, to, to + 1, to);
    }

    /// <summary>Area that the unit pixel centered at (dx, dy) shares with the circle of that radius round the origin.</summary>
    public static double Overlap(double dx, double dy, double radius)
    {
        dx = Math.Abs(dx);
        dy = Math.Abs(dy);
        double x0 = dx - 0.5, x1 = dx + 0.5, y0 = dy - 0.5, y1 = dy + 0.5;
        if (x0 >= 0)
        {
            return y0 >= 0 ? Corner(x0, x1, y0, y1, radius) : Corner(x0, x1, 0, y1, radius) + Corner(x0, x1, 0, -y0, radius);
        }

        double right = y0 >= 0 ? Corner(0, x1, y0, y1, radius) : Corner(0, x1, 0, y1, radius) + Corner(0, x1, 0, -y0, radius);
        double left = y0 >= 0 ? Corner(0, -x0, y0, y1, radius) : Corner(0, -x0, 0, y1, radius) + Corner(0, -x0, 0, -y0, radius);
        return right + left;
    }

    /// <summary>Shared area of a rectangle in the first quadrant: full columns, then what lies under the arc.</summary>
    private static double Corner(double x0, double x1, double y0, double y1, double r)
    {
        double r2 = r * r;
        if ((x0 * x0) + (y0 * y0) >= r2)
        {
            return 0;
        }

        // Left of xa the circle covers the full height, right of xb nothing; ya and yb are the arc's heights there.
        double xa = Math.Clamp(Math.Sqrt(Math.Max(0, r2 - (y1 * y1))), x0, x1);
        double xb = Math.Clamp(Math.Sqrt(r2 - (y0 * y0)), x0, x1);
        double ya = Math.Min(y1, Math.Sqrt(Math.Max(0, r2 - (xa * xa))));
        double yb = Math.Min(y1, Math.Sqrt(Math.Max(0, r2 - (xb * xb))));
        double width = xb - xa, rise = ya - yb;
        double t = Math.Sqrt((width * width) + (rise * rise)) / (2 * r);
        return ((xa - x0) * (y1 - y0)) + (width * ((0.5 * (ya + yb)) - y0)) + (r2 * Segment(t));
    }

    /// <summary>Area between arc and chord for radius 1, where t is half the chord: asin t - t sqrt(1 - t^2).</summary>
    private static double Segment(double t)
    {
        if (t > 0.25)
        {
            return Math.Asin(Math.Min(1, t)) - (t * Math.Sqrt(Math.Max(0, 1 - (t * t))));
        }

        // Its power series; the first term left out is 63/2816... t^13 < 1e-9 for t <= 1/4.
        double q = t * t;
        return t * q * ((2.0 / 3) + (q * ((1.0 / 5) + (q * ((3.0 / 28) + (q * ((5.0 / 72) + (q * (35.0 / 704)))))))));
    }
}
