using StarAssay.Engine.Imaging;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>What a star field gives to claims: sizes on the sky, roundness, and the edge against the center.</summary>
public static class FieldFigures
{
    /// <summary>Fewer clean stars than this say something about themselves, not about the field (common practice, no source).</summary>
    public const int LeastStars = 10;

    // Relative standard uncertainty of a scale from nominal pitch and focal length; focal lengths of a type are stated to
    // about 1 % (common practice, no source). All frames of one telescope share it.
    private const double NominalScale = 0.01;

    internal static double PixelScale(StarRequest request, Frame frame) => double.IsFinite(request.PixelScaleArcsecPerPx)
        ? request.PixelScaleArcsecPerPx
        : frame.PitchUm / (1000 * request.FocalLengthMm) * Seeing.ArcsecPerRadian;

    internal static IReadOnlyList<Quantity> Of(StarField field)
    {
        var found = new List<Quantity>();
        if (field.CleanStars < LeastStars)
        {
            return found;
        }

        string[] doubts = [.. field.Notes.Where(n => n.Level == NoteLevel.Doubt).Select(n => n.Text)];
        void Add(QuantityDefinition kind, Measured value, double relativeCommon = 0)
        {
            if (double.IsFinite(value.Value) && value.Uncertainty > 0)
            {
                double common = relativeCommon * value.Value;
                double whole = Math.Sqrt((value.Uncertainty * value.Uncertainty) + (common * common));
                found.Add(kind.Of(value with { Uncertainty = whole }, value.Uncertainty, field.FilterWavelengthNm) with
                {
                    CommonPart = common,
                    Doubts = doubts
                });
            }
        }

        if (double.IsFinite(field.PixelScaleArcsecPerPx))
        {
            double common = field.ScaleFromSky ? 0 : NominalScale;
            Add(StarQuantities.Fwhm, OnSky(field.MedianFwhm, field.PixelScaleArcsecPerPx), common);
            Add(StarQuantities.Hfr, OnSky(field.MedianHfr, field.PixelScaleArcsecPerPx), common);
        }

        Add(StarQuantities.Ellipticity, field.TypicalEllipticity);
        Add(StarQuantities.CornerRatio, EdgeOverCenter(field));
        return found;
    }

    /// <summary>Half-flux radius at the edge over that at the center; not measured where either has fewer than <see cref="LeastStars"/>.</summary>
    public static Measured EdgeOverCenter(StarField field)
    {
        ZoneSummary? edge = field.Zones.FirstOrDefault(z => z.Zone == "edge"), center = field.Zones.FirstOrDefault(z => z.Zone == "center");
        if (edge is null || center is null || Math.Min(edge.Stars, center.Stars) < LeastStars)
        {
            return Measured.None("");
        }

        double ratio = edge.Hfr.Value / center.Hfr.Value;
        double spread = double.Hypot(edge.Hfr.Uncertainty / edge.Hfr.Value, center.Hfr.Uncertainty / center.Hfr.Value);
        return new Measured(ratio, ratio * spread, "");
    }

    private static Measured OnSky(Measured pixels, double arcsecPerPx) => new(pixels.Value * arcsecPerPx, pixels.Uncertainty * arcsecPerPx, "arcsec");
}
