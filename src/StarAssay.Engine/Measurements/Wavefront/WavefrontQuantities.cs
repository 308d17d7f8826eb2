using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>What a claim about a wavefront can be about.</summary>
[QuantityList("wavefront")]
public static class WavefrontQuantities
{
    // Declared before the quantities that name it.
    private static readonly string[] Aberrations = ["coma", "astigmatism", "trefoil", "spherical aberration"];

    public static readonly QuantityDefinition Strehl = new("strehl", "Strehl ratio", "", 0, 1, true, Pair)
    {
        OnlyMendedBy = Aberrations,
    };
    public static readonly QuantityDefinition Rms = new("wavefront_rms", "wavefront error, RMS", "nm", 0, double.PositiveInfinity, false, Pair)
    {
        OnlyMendedBy = Aberrations,
    };
    public static readonly QuantityDefinition Pv = new("wavefront_pv", "wavefront error, PV", "nm", 0, double.PositiveInfinity, false, Pair)
    {
        OnlyMendedBy = Aberrations,
    };
    public static readonly QuantityDefinition Spherical = new("spherical", "spherical aberration, RMS by circle polynomials", "nm", 0, double.PositiveInfinity,
        false, Pair)
    {
        OnlyMendedBy = ["spherical aberration"],
    };
    public static readonly QuantityDefinition SphericalAnnular = new("spherical_annular", "spherical aberration, RMS by annular polynomials", "nm", 0,
        double.PositiveInfinity, false, Pair)
    {
        OnlyMendedBy = ["spherical aberration"],
    };
    public static readonly QuantityDefinition Coma = new("coma", "coma, RMS by circle polynomials", "nm", 0, double.PositiveInfinity, false, Pair)
    {
        OnlyMendedBy = ["coma"],
    };
    public static readonly QuantityDefinition ComaAnnular = new("coma_annular", "coma, RMS by annular polynomials", "nm", 0, double.PositiveInfinity, false,
        Pair)
    {
        OnlyMendedBy = ["coma"],
    };
    public static readonly QuantityDefinition Astigmatism = new("astigmatism", "astigmatism, RMS by circle polynomials", "nm", 0, double.PositiveInfinity,
        false, Pair)
    {
        OnlyMendedBy = ["astigmatism"],
    };
    public static readonly QuantityDefinition AstigmatismAnnular = new("astigmatism_annular", "astigmatism, RMS by annular polynomials", "nm", 0,
        double.PositiveInfinity, false, Pair)
    {
        OnlyMendedBy = ["astigmatism"],
    };
    public static readonly QuantityDefinition Seeing = new("seeing", "seeing, FWHM", "arcsec", 0, double.PositiveInfinity, false, Pair)
    {
        DependsOn = DependsOn.Night,
    };

    private const string Pair = "Take a bright star inside and outside focus through a narrow filter and list it under [[wavefront]].";
}
