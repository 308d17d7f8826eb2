using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>A lens by its glasses.</summary>
public sealed record LensColorRequest
{
    /// <summary>Names of one, two or three glasses.</summary>
    public required string[] Glasses { get; init; }

    /// <summary>Powers; empty = the glasses unite F and C (two) or F, C and g (three).</summary>
    public double[] Powers { get; init; } = [];

    /// <summary>Focal length, mm.</summary>
    public required double FocalLengthMm { get; init; }

    /// <summary>Wavelengths, nm.</summary>
    public double[] WavelengthsNm { get; init; } = [.. Enumerable.Range(0, 261).Select(i => 380.0 + (2 * i))];

    /// <summary>Zero of the curve.</summary>
    public double ReferenceNm { get; init; } = 550;

    /// <summary>First wavelength united.</summary>
    public double FirstNm { get; init; } = SpectralLine.F;

    /// <summary>Second wavelength united.</summary>
    public double SecondNm { get; init; } = SpectralLine.C;

    /// <summary>Third wavelength united.</summary>
    public double ThirdNm { get; init; } = SpectralLine.G;
}

/// <summary>Theory curve of a thin lens.</summary>
public sealed record LensColorResult
{
    /// <summary>Glass of each element, front to back.</summary>
    public required string[] Glasses { get; init; }

    /// <summary>Focal length.</summary>
    public required double FocalLengthMm { get; init; }

    /// <summary>Zero of the curve.</summary>
    public required double ReferenceNm { get; init; }

    /// <summary>Wavelengths, nm.</summary>
    public required double[] WavelengthNm { get; init; }

    /// <summary>Focus shift, um, positive = longer.</summary>
    public required double[] ShiftUm { get; init; }

    /// <summary>Power of each element.</summary>
    public required double[] Powers { get; init; }

    /// <summary>Index of each element at d.</summary>
    public required double[] IndexD { get; init; }

    /// <summary>Abbe number of each.</summary>
    public required double[] AbbeNumber { get; init; }
}

/// <summary>Color focus of lenses from glass data.</summary>
public static class LensColorFocus
{
    /// <summary>The curve of a thin lens of these glasses.</summary>
    [EngineTask("color_focus.lens")]
    public static LensColorResult Compute(LensColorRequest request)
    {
        Glass[] glasses = [.. request.Glasses.Select(GlassCatalog.Find)];
        GlassLens lens = request.Powers.Length > 0
            ? GlassLens.Of(glasses, request.Powers)
            : glasses.Length switch
            {
                1 => GlassLens.Singlet(glasses[0]),
                2 => GlassLens.Doublet(glasses[0], glasses[1], request.FirstNm, request.SecondNm),
                3 => GlassLens.Triplet(glasses[0], glasses[1], glasses[2], request.FirstNm, request.SecondNm, request.ThirdNm),
                _ => throw new InputException("glass.count", $"{glasses.Length} glasses were named; one, two or three are possible, more with their powers.",
                    "glasses"),
            };
        return new LensColorResult
        {
            Glasses = request.Glasses,
            FocalLengthMm = request.FocalLengthMm,
            ReferenceNm = request.ReferenceNm,
            WavelengthNm = request.WavelengthsNm,
            ShiftUm = [.. request.WavelengthsNm.Select(w => lens.FocusShiftUm(w, request.FocalLengthMm, request.ReferenceNm))],
            Powers = [.. lens.Powers],
            IndexD = [.. glasses.Select(g => g.Index(SpectralLine.D))],
            AbbeNumber = [.. glasses.Select(g => g.AbbeNumber)],
        };
    }
}
