using System.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics.Views;

/// <summary>What stands in the light near the focus.</summary>
public enum Mask
{
    /// <summary>Equal bars and gaps, a bar's edge or its middle on the axis.</summary>
    Ruling,

    /// <summary>An opaque half-plane that covers everything below <see cref="ShadowRequest.PositionUm"/>.</summary>
    Knife,
}

/// <summary>A Ronchi ruling or a knife edge near the focus of a star's light.</summary>
/// <param name="Map">The pupil.</param>
/// <param name="Mask">Ruling or knife.</param>
/// <param name="ShiftUm">Position along the axis, positive away from the objective.</param>
/// <param name="PeriodUm">Bar plus gap of the ruling, um.</param>
/// <param name="PositionUm">Knife: coordinate of its edge. Ruling: shift of the bars from the place where the axis
/// lies in the middle of a gap.</param>
/// <param name="AngleDeg">Direction across the bars or the edge, from +x towards +y. 0: bars run along y, the knife
/// comes from the left.</param>
public sealed record ShadowRequest(PupilMap Map, Mask Mask, double ShiftUm = 0, double PeriodUm = 100, double PositionUm = 0, double AngleDeg = 0);

/// <summary>The pupil as an eye behind the mask sees it.</summary>
/// <param name="Brightness">Row y, column x on the pupil's grid; 1 = the pupil with nothing in the way.</param>
public sealed record ShadowView(double[,] Brightness);

/// <summary>
/// Ronchi and knife-edge tests by wave optics: the field goes to the mask's plane, is cut there, and comes back to an
/// image of the pupil, upright. Rings and soft edges are therefore those of diffraction.
/// </summary>
/// <remarks>A pupil point is sent to -2 N dW/drho in the mask's plane, W positive where the wave is ahead (ray
/// mapping, Welford; form from memory).</remarks>
public static class ShadowTests
{
    // Light to be kept beyond the geometric disc on the mask's plane, in lambda N.
    private const double Margin = 24;

    /// <summary>Draws the view.</summary>
    /// <exception cref="InputException">A number is out of range, or the ruling is too fine for this map.</exception>
    public static ShadowView Draw(ShadowRequest request)
    {
        request.Map.RequireValid();
        PupilMap map = request.Map.FineEnoughFor(request.ShiftUm, Margin);
        int n = map.Size;
        int padding = n > request.Map.Size ? 2 : 4;
        int size = padding * n;
        double lambdaNUm = map.WavelengthNm * 1e-3 * map.FocalRatio;
        double step = lambdaNUm / padding;
        if (request.Mask == Mask.Ruling)
        {
            InputException.RequireRange(request.PeriodUm, 2 * lambdaNUm, 1e6, nameof(request.PeriodUm), "um");
        }

        Complex[] plane = new Complex[size * size];
        Complex[,] field = map.Field(request.ShiftUm);
        foreach ((int y, int x) in FocusedImages.Grid(n))
        {
            plane[(y * size) + x] = field[y, x];
        }

        Transform2D.Forward(plane, size);
        (double sin, double cos) = Math.SinCos(request.AngleDeg * Math.PI / 180);
        for (int j = 0; j < size; j++)
        {
            double y = step * (j < size / 2 ? j : j - size);
            for (int i = 0; i < size; i++)
            {
                double x = step * (i < size / 2 ? i : i - size);

                // The pupil's sample 0 lies at rho = (1 - n) / n, half a sample off the DFT's origin: a pure phase
                // ramp in this plane, which a mask does not see.
                plane[(j * size) + i] *= Transmission(request, (x * cos) + (y * sin), step);
            }
        }

        Transform2D.Inverse(plane, size);
        int factor = n / request.Map.Size;
        double[,] brightness = new double[request.Map.Size, request.Map.Size];
        foreach ((int y, int x) in FocusedImages.Grid(n))
        {
            double a = plane[(y * size) + x].Magnitude;
            brightness[y / factor, x / factor] += a * a / (factor * factor);
        }

        return new ShadowView(brightness);
    }

    // Share of a sample of that width that is open, so that edges may lie between samples.
    private static double Transmission(ShadowRequest request, double s, double width)
    {
        if (request.Mask == Mask.Knife)
        {
            return Math.Clamp(((s - request.PositionUm) / width) + 0.5, 0, 1);
        }

        double period = request.PeriodUm;
        double phase = Math.Abs(Math.IEEERemainder(s - request.PositionUm, period));
        return Math.Clamp((((period / 4) - phase) / width) + 0.5, 0, 1);
    }
}
