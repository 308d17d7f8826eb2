using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Stars;

/// <summary>What all stars of a frame share while they are measured.</summary>
internal sealed record MeterSettings
{
    public required Frame Frame { get; init; }

    public required BackgroundMesh Mesh { get; init; }

    public required Seed[] Seeds { get; init; }

    public required SeedGrid Grid { get; init; }

    /// <summary>Usual second moment of a star, px^2.</summary>
    public required double Variance { get; init; }

    /// <summary>Second moment of the frame's sharpest stars along their short axis, px^2.</summary>
    public required double NarrowVariance { get; init; }

    public required double OuterRadius { get; init; }

    public required double SnrRadius { get; init; }

    /// <summary>Signal-to-noise ratio over the significance of a peak.</summary>
    public required double SnrPerSignificance { get; init; }

    /// <summary>Independent pixels behind a sky level.</summary>
    public required double SkySamples { get; init; }

    /// <summary>Standard uncertainty of the sky level that its cells show, in the noise of a pixel.</summary>
    public double SkyLevelScatter { get; init; }

    /// <summary>Variance of the sky level over that of a pixel.</summary>
    public double SkyVariance => Math.Max(1 / SkySamples, SkyLevelScatter * SkyLevelScatter);

    /// <summary>Usual exponent of the Moffat profile.</summary>
    public required double Beta { get; init; }

    /// <summary>The same for fits of faint stars, not held below what skirts need.</summary>
    public required double FitBeta { get; init; }

    /// <summary>Standard uncertainty of that exponent.</summary>
    public double BetaError { get; init; }

    /// <summary>From this signal-to-noise ratio on a star's own exponent is fitted; fainter ones share the usual one.</summary>
    public required double FreeBetaSnr { get; init; }

    /// <summary>Electrons per ADU, from the frame or from its stars; NaN when neither tells.</summary>
    public required double Gain { get; init; }

    /// <summary>Whether fits are to say what they leave over, for the gain.</summary>
    public bool WantsLeft { get; init; }

    public required double Saturation { get; init; }

    /// <summary>Which pixels of a mosaic these are; null while the usual star is sought.</summary>
    public ColorLattice? Lattice { get; init; }

    /// <summary>What the surroundings of each star say where the sky has structure; null where it has none.</summary>
    public LocalSky.Star[]? Around { get; init; }

    /// <summary>Whether the sky has structure that could not be told from the stars.</summary>
    public bool SkyLeft { get; init; }

    /// <summary>Share of its square that a pixel covers.</summary>
    public double Fill => Lattice?.Fill ?? 1;
}
