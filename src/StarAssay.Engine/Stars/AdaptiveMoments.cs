using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>Weighted sums of a stamp about a point: flux, first and second moments, and the same under the squared weight.</summary>
/// <param name="S">Sum of weight x pixel.</param>
/// <param name="X">Sum of weight x pixel x dx.</param>
/// <param name="Y">Sum of weight x pixel x dy.</param>
/// <param name="XX">... x dx^2.</param>
/// <param name="XY">... x dx dy.</param>
/// <param name="YY">... x dy^2.</param>
internal readonly record struct WeightedSums(double S, double X, double Y, double XX, double XY, double YY);

/// <summary>Result of the adaptive moments: where the star is and the Gaussian ellipse that fits it.</summary>
/// <param name="X">Center, stamp columns.</param>
/// <param name="Y">Center, stamp rows.</param>
/// <param name="Cxx">Second central moment along x, px^2, as recorded (with the pixel's own 1/12).</param>
/// <param name="Cxy">Mixed second moment, px^2.</param>
/// <param name="Cyy">Second central moment along y, px^2.</param>
/// <param name="Flux">Flux of the fitted Gaussian, ADU.</param>
/// <param name="Converged">False when the star gave no stable ellipse.</param>
internal readonly record struct Ellipse(double X, double Y, double Cxx, double Cxy, double Cyy, double Flux, bool Converged)
{
    /// <summary>Determinant of the moment matrix.</summary>
    public double Det => (Cxx * Cyy) - (Cxy * Cxy);
}

/// <summary>
/// Moments under an elliptical Gaussian weight that is refined until it has the star's own center, size and shape.
/// </summary>
/// <remarks>
/// Plain moments are ruled by the noise far out; here each pixel counts as much as a Gaussian fit would let it.
/// If I is a Gaussian of moments C and the weight has W, the weighted moments M obey 1/M = 1/C + 1/W; solving for C and
/// taking it as the next weight finds a Gaussian in one step and other profiles in a few. Method: Bernstein and Jarvis
/// 2002, AJ 123, 583; Hirata and Seljak 2003, MNRAS 343, 459 (from memory).
/// </remarks>
internal static partial class AdaptiveMoments
{
    private const int MostRounds = 24;

    // Last change of the moments, and last step of the center in pixels, with which the ellipse is at rest.
    private const double Rest = 3e-3;
    private const double NoiseShare = 0.1;
    private const double CenterRest = 0.1;

    // Weights are carried from row to row only where none of them is too small for a float: e^-80 = 2e-35.
    private const float LeastExponent = -80;

    /// <summary>Least second moment of the weight, px^2. A narrower weight, sampled at whole pixels, would see little but the
    /// pixel it stands on.</summary>
    internal const double LeastWeight = 0.8;

    // What a Moffat profile of beta 3 to 4 does: of a change of the weight's size so much comes back in the moments found, and of
    // a change of its shape half of that; 0 for a Gaussian, 0.2 for beta 2.5. Taken out, what is left of it is a twentieth.
    private const double SizeEcho = 0.15;
    private const double ShapeEcho = 0.5 * SizeEcho;

    // The same profile's wings under a weight wider than itself: the center comes back a few percent less than from a Gaussian.
    private const double WingPull = 0.07;
    private const double WingShare = 0.9;
    private const double WidestFound = 2 / WingShare;

    /// <summary>Finds center and ellipse.</summary>
    /// <param name="stamp">The star.</param>
    /// <param name="x">First guess of the center.</param>
    /// <param name="y">First guess of the center.</param>
    /// <param name="variance">First guess of the second moment, px^2.</param>
    /// <param name="noise">Noise of a pixel: what lies far below its effect need not be settled.</param>
    public static Ellipse Measure(Stamp stamp, double x, double y, double variance, double noise)
    {
        double cxx = variance, cxy = 0, cyy = variance;
        double x0 = x, y0 = y, largest = 0.5 * stamp.Half * stamp.Half;
        double lastXx = 0, lastXy = 0, lastYy = 0, stride = 1;
        for (int round = 0; round < MostRounds; round++)
        {
            double widen = Math.Max(0, LeastWeight - (0.5 * (cxx + cyy)));
            double wxx = cxx + widen, wyy = cyy + widen, wxy = cxy;
            WeightedSums m = Sums(stamp, x, y, wxx, wxy, wyy);
            if (!(m.S > 0))
            {
                break;
            }

            // A weight of the star's own size pulls the center half-way back, hence twice the offset; see Center.
            double inverse = 1 / m.S, pull = 1 + ((cxx + cyy) / (wxx + wyy));
            double dx = m.X * inverse, dy = m.Y * inverse;
            double mxx = (m.XX * inverse) - (dx * dx), mxy = (m.XY * inverse) - (dx * dy), myy = (m.YY * inverse) - (dy * dy);
            double stepX = Math.Clamp(pull * dx, -1, 1), stepY = Math.Clamp(pull * dy, -1, 1);
            x += stepX;
            y += stepY;
            (double nxx, double nxy, double nyy) = Unweight(mxx, mxy, myy, wxx, wxy, wyy);
            double changeXx = nxx - cxx, changeXy = nxy - cxy, changeYy = nyy - cyy;
            double change = Math.Abs(changeXx) + Math.Abs(changeYy) + (2 * Math.Abs(changeXy)), trace = nxx + nyy;
            if (!((nxx * nyy) - (nxy * nxy) > 0) || trace > 2 * largest || Math.Abs(x - x0) > 0.5 * stamp.Half || Math.Abs(y - y0) > 0.5 * stamp.Half)
            {
                break;
            }

            // Profiles unlike a Moffat's: what the last stride has left over tells by how much it was too short or too long.
            double last = (lastXx * lastXx) + (2 * lastXy * lastXy) + (lastYy * lastYy);
            if (last > 0)
            {
                double left = ((changeXx * lastXx) + (2 * changeXy * lastXy) + (changeYy * lastYy)) / last;
                stride = Math.Clamp(stride / Math.Max(0.2, 1 - left), 0.25, 4);
            }

            double size = stride / (1 - SizeEcho) * 0.5 * (changeXx + changeYy), stretch = stride / (1 - ShapeEcho) * 0.5 * (changeXx - changeYy);
            double fxx = cxx + size + stretch, fyy = cyy + size - stretch, fxy = cxy + (stride / (1 - ShapeEcho) * changeXy);
            bool good = fxx > 0 && fyy > 0 && (fxx * fyy) - (fxy * fxy) > 0.25 * ((nxx * nyy) - (nxy * nxy));
            (cxx, cxy, cyy) = good ? (fxx, fxy, fyy) : (nxx, nxy, nyy);

            // After the stride less than a tenth of the change is left, so a tenth of the noise is near enough: of the trace, for a
            // matched weight with half of the light under it, 1.5 sqrt(8 pi v) n / (2 S). The shape feels the center by its square only.
            double unsure = 0.75 * Math.Sqrt(4 * Math.PI * trace) * noise * inverse;
            if (change < Math.Max(Rest, NoiseShare * unsure) * trace && Math.Abs(stepX) + Math.Abs(stepY) < CenterRest)
            {
                // A Gaussian of moments C under the weight W leaves sqrt(det W / det (C + W)) of its light.
                double both = ((cxx + wxx) * (cyy + wyy)) - ((cxy + wxy) * (cxy + wxy));
                double flux = m.S * Math.Sqrt(Math.Max(0, both / ((wxx * wyy) - (wxy * wxy))));
                return new Ellipse(x, y, cxx, cxy, cyy, flux, true);
            }

            (lastXx, lastXy, lastYy) = good ? (changeXx, changeXy, changeYy) : (0, 0, 0);
        }

        return new Ellipse(x, y, cxx, cxy, cyy, double.NaN, false);
    }

    /// <summary>How many times the star's moments a weight should have to place the star best, between 1 and 2.2.</summary>
    /// <remarks>For a Gaussian of variance v and flux F under a weight of k v, the variance of the center is
    /// v (k + 1)^4 / k^2 [pi v n^2 / (2 F^2) + 1 / (g F (k + 2)^2)], n the noise of a sky pixel, g electrons per ADU. With
    /// s = pi v n^2 g / (2 F), the sky's share of the noise over the star's own, it is least where s (k - 1) (k + 2)^3 = 2: at 1 for
    /// a star that drowns in the sky, beyond 2 for a bright one. There the wings of a real star, which are no Gaussian's, and its
    /// neighbors speak against more (scatter 1.125 times the least); see <see cref="WithWings"/>.</remarks>
    public static double Widening(in Ellipse star, double noise, double gain)
    {
        double s = Math.PI * Math.Sqrt(Math.Max(0, star.Det)) * noise * noise * gain / (2 * Math.Max(star.Flux, double.Epsilon));
        // The sky drowns the star, or its photons are not known at all.
        if (s > 1e6)
        {
            return 1;
        }

        if (!(s > 2 / ((WidestFound - 1) * Math.Pow(WidestFound + 2, 3))))
        {
            return WidestFound;
        }

        // Newton's steps from above; the left side is convex, so they stay above the root.
        double k = WidestFound;
        for (int i = 0; i < 4; i++)
        {
            double reach = k + 2;
            k -= ((s * (k - 1) * reach * reach * reach) - 2) / (s * reach * reach * ((4 * k) - 1));
        }

        return Math.Max(1, k);
    }

    /// <summary>The same for a star with wings, between 1 and 2. For Moffat profiles of beta 2.5 to 5 a tenth less is best (scatter summed
    /// up from weights, profile and noise of every pixel: within 0.5 % of the least there is, against 0.2 to 1.5 % without).</summary>
    public static double WithWings(double widening) => Math.Max(1, WingShare * widening);

    /// <summary>Center under a Gaussian weight of <paramref name="widening"/> times the ellipse's moments.</summary>
    public static (double X, double Y) Center(Stamp stamp, in Ellipse start, double widening)
    {
        double half = 0.5 * (start.Cxx + start.Cyy);
        double floor = Math.Max(0, LeastWeight - (widening * half)), ratio = half / ((widening * half) + floor);
        double x = start.X, y = start.Y, gain = (1 + ratio) * (1 + (WingPull * Math.Max(0, 1 - ratio)));
        for (int round = 0; round < 4; round++)
        {
            WeightedSums m = Sums(stamp, x, y, (widening * start.Cxx) + floor, widening * start.Cxy, (widening * start.Cyy) + floor);
            if (!(m.S > 0))
            {
                return (start.X, start.Y);
            }

            double dx = gain * m.X / m.S, dy = gain * m.Y / m.S;
            x += dx;
            y += dy;

            // The gain is right to some percent.
            if (Math.Abs(dx) + Math.Abs(dy) < 0.01)
            {
                break;
            }
        }

        bool near = Math.Abs(x - start.X) < 1 && Math.Abs(y - start.Y) < 1;
        return near ? (x, y) : (start.X, start.Y);
    }

    /// <summary>Weighted sums about (x, y) under exp(-q/2), q the quadratic form of the inverse of the weight's moments.</summary>
    internal static WeightedSums Sums(Stamp stamp, double x, double y, double wxx, double wxy, double wyy)
    {
        double inverse = -0.5 / ((wxx * wyy) - (wxy * wxy));
        int reachX = Reach(wxx), reachY = Reach(wyy);
        int mx = (int)Math.Round(x), my = (int)Math.Round(y);
        int xFrom = Math.Max(0, mx - reachX), xTo = Math.Min(stamp.Side - 1, mx + reachX);
        int yFrom = Math.Max(0, my - reachY), yTo = Math.Min(stamp.Side - 1, my + reachY);

        // Whole steps of 16 columns, so that every register width sums the same pixels; the stamp's padding is zero.
        xTo = xFrom + ((xTo - xFrom + Stamp.Step) / Stamp.Step * Stamp.Step) - 1;
        var window = new Window(xFrom, xTo, yFrom, yTo, (float)x, (float)y, (float)(wyy * inverse), (float)(-2 * wxy * inverse), (float)(wxx * inverse));
        return !Vector128.IsHardwareAccelerated ? SumsScalar(stamp, window)
            : Vector512.IsHardwareAccelerated ? SumsLanes<Lanes512>(stamp, window)
            : Vector256.IsHardwareAccelerated ? SumsLanes<Lanes256>(stamp, window)
            : SumsLanes<Lanes128>(stamp, window);
    }

    /// <summary>Pixels to either side: four standard deviations, where the weight is 3.4e-4; the last pixel and a bit are given up
    /// when that keeps the window within 15 columns, one register of sixteen.</summary>
    private static int Reach(double variance)
    {
        double four = 4 * Math.Sqrt(variance);
        return four <= 9 ? Math.Min(7, (int)Math.Ceiling(four)) : (int)Math.Ceiling(four);
    }

    /// <summary>Solves 1/M = 1/C + 1/W for C; falls back to 2 M where noise has left no positive solution.</summary>
    private static (double Xx, double Xy, double Yy) Unweight(double mxx, double mxy, double myy, double wxx, double wxy, double wyy)
    {
        double dm = (mxx * myy) - (mxy * mxy), dw = (wxx * wyy) - (wxy * wxy);
        if (dm > 0)
        {
            double im = 1 / dm, iw = 1 / dw, a = (myy * im) - (wyy * iw), b = (wxy * iw) - (mxy * im), c = (mxx * im) - (wxx * iw);
            double d = (a * c) - (b * b);

            // A star more than twice as wide as the weight is approached in steps.
            if (d > 0 && a > 0 && a + c > 0.25 * (wxx + wyy) * iw)
            {
                double over = 1 / d;
                return (c * over, -b * over, a * over);
            }
        }

        return (2 * mxx, 2 * mxy, 2 * myy);
    }

    /// <summary>Pixels to sum over and the exponent's coefficients: q = A dx^2 + B dx dy + C dy^2, weight exp(q).</summary>
    internal readonly record struct Window(int XFrom, int XTo, int YFrom, int YTo, float X, float Y, float A, float B, float C)
    {
        /// <summary>The exponent in the deepest corner.</summary>
        public float Deepest
        {
            get
            {
                float left = XFrom - X, right = XTo - X, bottom = YFrom - Y, top = YTo - Y;
                return MathF.Min(MathF.Min(At(left, bottom), At(right, bottom)), MathF.Min(At(left, top), At(right, top)));
            }
        }

        private float At(float dx, float dy) => (dx * ((A * dx) + (B * dy))) + (C * dy * dy);
    }
}
