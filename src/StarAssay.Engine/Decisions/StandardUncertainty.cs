namespace StarAssay.Engine.Decisions;

/// <summary>Standard uncertainties of input quantities known by their limits only (type B evaluation).</summary>
/// <remarks>In the sense of JCGM 100:2008 (GUM), clause 4.3 (named from memory).</remarks>
public static class StandardUncertainty
{
    /// <summary>Any value within plus or minus <paramref name="halfWidth"/> is equally likely: a / sqrt(3).</summary>
    public static double Rectangular(double halfWidth) => halfWidth / Math.Sqrt(3);

    /// <summary>Values near the middle are likelier, falling to none at the limits: a / sqrt(6).</summary>
    public static double Triangular(double halfWidth) => halfWidth / Math.Sqrt(6);

    /// <summary>A quantity that swings between its limits as a sine: a / sqrt(2).</summary>
    public static double Arcsine(double halfWidth) => halfWidth / Math.Sqrt(2);
}
