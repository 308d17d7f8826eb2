namespace StarAssay.Engine.Optics.PairFit;

/// <summary>All unknowns of one pair. Index 0 is the first image, 1 the second.</summary>
internal sealed record PairState
{
    /// <summary>Zernike coefficients in nm, common to all images.</summary>
    public required double[] CoefficientsNm { get; init; }

    /// <summary>Seeing, (D/r0)^(5/3) at the mean wavelength.</summary>
    public double[] Seeing { get; init; } = new double[2];

    /// <summary>Path difference of the defocus at the edge, W020, nm; positive outside focus.</summary>
    public double[] DefocusNm { get; init; } = new double[2];

    /// <summary>Tilt along x, nm at the edge; the star moves by -2 N times it over the radius, so by -4 N tilt/D on the sensor.</summary>
    public double[] TiltXNm { get; init; } = new double[2];

    /// <summary>Tilt along y.</summary>
    public double[] TiltYNm { get; init; } = new double[2];

    /// <summary>Light of the star, electrons.</summary>
    public double[] Flux { get; init; } = [1, 1];

    /// <summary>Background, electrons a pixel.</summary>
    public double[] Background { get; init; } = new double[2];

    /// <summary>Trails; held while the other unknowns move.</summary>
    public Trail[] Trails { get; init; } = new Trail[2];

    /// <summary>A copy that shares nothing.</summary>
    public PairState Copy() => new()
    {
        CoefficientsNm = [.. CoefficientsNm],
        Seeing = [.. Seeing],
        DefocusNm = [.. DefocusNm],
        TiltXNm = [.. TiltXNm],
        TiltYNm = [.. TiltYNm],
        Flux = [.. Flux],
        Background = [.. Background],
        Trails = [.. Trails],
    };
}
