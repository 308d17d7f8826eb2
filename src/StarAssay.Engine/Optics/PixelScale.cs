using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>How much sky a pixel sees.</summary>
public static class PixelScale
{
    /// <summary>Arcseconds a pixel of a pitch in the focus of a telescope, near the axis: p / f.</summary>
    public static double ArcsecPerPx(double pitchUm, double focalLengthMm) => pitchUm / (1000 * focalLengthMm) * Seeing.ArcsecPerRadian;

    /// <summary>One scale for both axes of a solved frame: the geometric mean, whose square is a pixel's area on the sky.</summary>
    /// <remarks>The four numbers are the matrix of the linear transformation from pixels to the tangent plane in degrees (CDi_j, or CDELTi
    /// times PCi_j: Greisen and Calabretta 2002, Astron. Astrophys. 395, 1061). Turning and mirroring do not change the result.</remarks>
    public static double ArcsecPerPx(double cd11Deg, double cd12Deg, double cd21Deg, double cd22Deg)
    {
        double area = Math.Abs((cd11Deg * cd22Deg) - (cd12Deg * cd21Deg));
        return area > 0 && double.IsFinite(area)
            ? Math.Sqrt(area) * 3600
            : throw new InputException("scale.matrix", "The solved frame's matrix gives its pixels no area on the sky. Solve the frame again.", "matrix");
    }
}
