namespace StarAssay.Engine.Stars;

/// <summary>The stars of one frame as <see cref="FieldSet"/> needs them. Arrays have one length.</summary>
public sealed record FieldStars
{
    /// <summary>File name or a short label, for messages.</summary>
    public string Name { get; init; } = string.Empty;

    /// <summary>Centers, pixels.</summary>
    public required double[] X { get; init; }

    /// <summary>Centers, pixels.</summary>
    public required double[] Y { get; init; }

    /// <summary>Light, any unit.</summary>
    public required double[] Flux { get; init; }

    /// <summary>Half-flux radius of each image, pixels; NaN = not known.</summary>
    public required double[] Hfr { get; init; }

    /// <summary>Right ascension of each star, degrees; NaN = unknown, empty = all unknown.</summary>
    public double[] RaDeg { get; init; } = [];

    /// <summary>Declination of each star, degrees; NaN = unknown, empty = all unknown.</summary>
    public double[] DecDeg { get; init; } = [];

    /// <summary>The stars of a measured frame.</summary>
    public static FieldStars Of(StarField field, string name = "") => new() { Name = name, X = field.X, Y = field.Y, Flux = field.Flux, Hfr = field.Hfr };
}

/// <summary>How one frame lies on the first one of a set: x' = a x - b y + ShiftX, y' = b x + a y + ShiftY from that frame's pixels to
/// this one's, with a + ib = Scale exp(i TurnDeg).</summary>
/// <param name="Placed">False when the frame could not be matched; the other numbers are NaN then.</param>
/// <param name="ShiftX">Shift at pixel (0, 0), pixels.</param>
/// <param name="ShiftY">Shift at pixel (0, 0), pixels.</param>
/// <param name="TurnDeg">Rotation from +x towards +y, degrees.</param>
/// <param name="Scale">Image scale over that of the reference.</param>
/// <param name="RmsPx">RMS distance of the matched stars from it, pixels.</param>
/// <param name="Matched">Stars matched.</param>
/// <param name="Reason">Why not, in a sentence; empty when placed.</param>
public sealed record FieldPlacement(bool Placed, double ShiftX, double ShiftY, double TurnDeg, double Scale, double RmsPx, int Matched, string Reason)
{
    /// <summary>A frame that could not be placed.</summary>
    internal static FieldPlacement None(string reason) => new(false, double.NaN, double.NaN, double.NaN, double.NaN, double.NaN, 0, reason);
}

/// <summary>How far frames of a set may lie apart.</summary>
public sealed record FieldSetOptions
{
    /// <summary>Largest shift in the middle of the field, pixels.</summary>
    public double LargestShiftPx { get; init; } = 150;

    /// <summary>Largest rotation, degrees.</summary>
    public double LargestTurnDeg { get; init; } = 3;

    /// <summary>Largest change of image scale, a ratio: focusing changes it a little.</summary>
    public double LargestScaleChange { get; init; } = 0.01;
}
