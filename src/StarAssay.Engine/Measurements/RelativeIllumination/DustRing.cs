using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.RelativeIllumination;

/// <summary>The shadow of a grain of dust that stands before the sensor: the image of the aperture, its hole included.</summary>
/// <param name="X">Middle.</param>
/// <param name="Y">Middle.</param>
/// <param name="Width">Outer diameter in pixels.</param>
/// <param name="Diameter">The same on the sensor.</param>
/// <param name="Depth">Share of the light that it takes within the ring.</param>
/// <param name="Distance">Of the grain before the sensor, in air: the diameter times the focal ratio. A glass between both, of the thickness t and the
/// index n, makes the true distance longer by t (1 - 1 / n).</param>
/// <param name="Whole">Whether all of it lies within the frame.</param>
public sealed record DustRing([property: Field(Unit = "pix")] double X, [property: Field(Unit = "pix")] double Y, Measured Width, Measured Diameter,
    Measured Depth, Measured Distance, bool Whole)
{
    private const double PitchScale = 1e-3;

    internal static DustRing Of(RelativeIlluminationRequest request, DustShape shape)
    {
        double mm = 2 * shape.Radius * request.PitchUm / 1000, sigma = 2 * shape.RadiusSigma * request.PitchUm / 1000, ratio = request.FocalRatio;

        // The pitch gives lengths their scale, as for what clips; the focal ratio is taken as stated.
        double scaled = Math.Sqrt((sigma * sigma) + Math.Pow(PitchScale * mm, 2));
        return new DustRing(shape.X, shape.Y, new Measured(2 * shape.Radius, 2 * shape.RadiusSigma, "pix"), new Measured(mm, scaled, "mm"),
            new Measured(shape.Depth, shape.DepthSigma, string.Empty), new Measured(mm * ratio, scaled * ratio, "mm"),
            shape.Within(request.Frames[0].Width, request.Frames[0].Height));
    }
}
