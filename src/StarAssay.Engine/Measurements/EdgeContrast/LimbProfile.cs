namespace StarAssay.Engine.Measurements.EdgeContrast;

/// <summary>How bright a surface is from its edge inward.</summary>
/// <remarks>
/// The Moon by the law of Lommel and Seeliger, mu0 / (mu0 + mu) with the cosines of the Sun's and the viewer's angle to the surface (Seeliger 1887;
/// from memory): at full Moon an even disc, at other phases brightest at the limb. The limb is taken where the Sun stands highest on it.
/// </remarks>
internal static class LimbProfile
{
    /// <summary>Brightness at a depth inside the limb over that at the limb.</summary>
    /// <param name="depthPx">Distance from the limb inward, pixels.</param>
    /// <param name="radiusPx">Radius of the disc, pixels.</param>
    /// <param name="phaseDeg">Phase angle, deg.</param>
    public static double Moon(double depthPx, double radiusPx, double phaseDeg)
    {
        if (phaseDeg < 0.5 || depthPx <= 0)
        {
            return 1; // even, or at the limb
        }

        double sine = 1 - Math.Min(1, depthPx / radiusPx), mu = Math.Sqrt(Math.Max(0, 1 - (sine * sine)));
        double phase = phaseDeg * Math.PI / 180, sun = Math.Max(0, (Math.Sin(phase) * sine) + (Math.Cos(phase) * mu));
        return sun + mu > 0 ? sun / (sun + mu) : 0;
    }
}
