using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>
/// An elliptical Moffat profile, I = A (1 + Q)^-beta with Q = P dx^2 + 2 K dx dy + R dy^2, integrated over the pixels.
/// </summary>
/// <remarks>Moffat 1969, A&amp;A 3, 455. FWHM (geometric mean of the axes) = 2 sqrt(2^(1/beta) - 1) / (P R - K^2)^(1/4); total
/// light = A pi / ((beta - 1) sqrt(P R - K^2)).</remarks>
internal struct Moffat
{
    public double A, X, Y, P, K, R, Beta;

    /// <summary>Number of parameters.</summary>
    public const int Count = 7;

    /// <summary>P R - K^2.</summary>
    public readonly double Det => (P * R) - (K * K);

    /// <summary>Full width at half maximum, geometric mean of the axes.</summary>
    public readonly double Fwhm => 2 * Math.Sqrt(Math.Pow(2, 1 / Beta) - 1) / Math.Pow(Det, 0.25);

    /// <summary>A round profile of unit light.</summary>
    public static Moffat Round(double x, double y, double alpha, double beta) => new()
    {
        A = (beta - 1) / (Math.PI * alpha * alpha),
        X = x,
        Y = y,
        P = 1 / (alpha * alpha),
        R = 1 / (alpha * alpha),
        Beta = beta,
    };

    /// <summary>Share of a round profile's light inside a radius.</summary>
    public static double Inside(double radius, double alpha, double beta) => 1 - Math.Pow(1 + (radius * radius / (alpha * alpha)), 1 - beta);

    /// <summary>Radius that holds a share of a round profile's light.</summary>
    public static double RadiusOf(double share, double alpha, double beta) => alpha * Math.Sqrt(Math.Pow(1 - share, 1 / (1 - beta)) - 1);
}

/// <summary>Pixel values of the model and their derivatives, over a rectangle of a stamp.</summary>
internal static partial class MoffatKernel
{
    /// <summary>Work space: rows of <see cref="Stamp.Step"/>-padded pixels. Column order: the seven derivatives (A, X, Y, P, K, R,
    /// beta), then the residual; all already divided by the pixel's standard deviation.</summary>
    public sealed class Space(int pixels)
    {
        public readonly float[] Columns = new float[MoffatKernel.Columns * pixels];

        /// <summary>Floats from one column to the next.</summary>
        public readonly int Stride = pixels;
    }

    /// <summary>Rectangle of a stamp: <paramref name="Width"/> columns count, the rest of the last register is given no weight.</summary>
    internal readonly record struct Area(int X, int Y, int Width, int Height)
    {
        /// <summary>Columns rounded up to whole steps.</summary>
        public int Padded => (Width + Stamp.Step - 1) / Stamp.Step * Stamp.Step;
    }

    /// <summary>Nodes and weights of Gauss-Legendre quadrature over one pixel.</summary>
    internal static readonly float[] Nodes2 = [-0.28867513f, 0.28867513f];
    internal static readonly float[] Weights2 = [0.5f, 0.5f];
    internal static readonly float[] Nodes3 = [-0.38729833f, 0, 0.38729833f];
    internal static readonly float[] Weights3 = [0.27777778f, 0.44444444f, 0.27777778f];

    /// <summary>Fills the work space.</summary>
    /// <param name="stamp">The star.</param>
    /// <param name="area">Pixels that count.</param>
    /// <param name="m">The model.</param>
    /// <param name="variance">Variance of a sky pixel.</param>
    /// <param name="perElectron">ADU of variance for one ADU of light: 1 / gain, or 0.</param>
    /// <param name="fine">Three instead of two nodes a side.</param>
    /// <param name="space">Receives derivatives and residuals.</param>
    public static void Fill(Stamp stamp, Area area, in Moffat m, float variance, float perElectron, bool fine, Space space)
    {
        if (!Vector128.IsHardwareAccelerated)
        {
            FillScalar(stamp, area, m, variance, perElectron, fine, space);
        }
        else if (Vector512.IsHardwareAccelerated)
        {
            FillLanes<Lanes512>(stamp, area, m, variance, perElectron, fine, space);
        }
        else if (Vector256.IsHardwareAccelerated)
        {
            FillLanes<Lanes256>(stamp, area, m, variance, perElectron, fine, space);
        }
        else
        {
            FillLanes<Lanes128>(stamp, area, m, variance, perElectron, fine, space);
        }
    }

    /// <summary>Draws a round profile of unit light into an area of a stamp's pixels by <see cref="PixelSeries"/>.</summary>
    public static void DrawRound(Stamp stamp, Area area, double x, double y, in PixelSeries series)
    {
        if (!Vector128.IsHardwareAccelerated)
        {
            DrawRoundScalar(stamp, area, x, y, series);
        }
        else if (Vector512.IsHardwareAccelerated)
        {
            DrawRoundLanes<Lanes512>(stamp, area, x, y, series);
        }
        else if (Vector256.IsHardwareAccelerated)
        {
            DrawRoundLanes<Lanes256>(stamp, area, x, y, series);
        }
        else
        {
            DrawRoundLanes<Lanes128>(stamp, area, x, y, series);
        }
    }

    /// <summary>Draws the model into an area of a stamp's pixels, with three or two nodes a side.</summary>
    public static void Draw(Stamp stamp, Area area, in Moffat m, bool fine)
    {
        if (!Vector128.IsHardwareAccelerated)
        {
            DrawScalar(stamp, area, m, fine);
        }
        else if (Vector512.IsHardwareAccelerated)
        {
            DrawLanes<Lanes512>(stamp, area, m, fine);
        }
        else if (Vector256.IsHardwareAccelerated)
        {
            DrawLanes<Lanes256>(stamp, area, m, fine);
        }
        else
        {
            DrawLanes<Lanes128>(stamp, area, m, fine);
        }
    }
}
