using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>What lets light through: a circle, perhaps with a central obstruction, vanes and a second circle that cuts the edge.
/// Lengths are in pupil radii unless they are ratios of diameters, axes as on the sensor (x right, y up).</summary>
public sealed record PupilShape
{
    /// <summary>A full circle.</summary>
    public static PupilShape Clear { get; } = new();

    /// <summary>Central obstruction, ratio of diameters, 0 to below 1.</summary>
    public double Obstruction { get; init; }

    /// <summary>Centre of the obstruction from that of the aperture, pupil radii, x.</summary>
    public double ObstructionX { get; init; }

    /// <summary>Centre of the obstruction from that of the aperture, pupil radii, y.</summary>
    public double ObstructionY { get; init; }

    /// <summary>Vanes that hold the secondary mirror, each from the centre to the edge.</summary>
    public IReadOnlyList<Vane> Vanes { get; init; } = [];

    /// <summary>A circle that cuts off part of the edge (off-axis vignetting), or null.</summary>
    public VignettedEdge? Vignetting { get; init; }

    /// <summary>Throws when a part of it cannot be.</summary>
    public void RequireValid()
    {
        if (!(Obstruction >= 0 && Obstruction < 0.95))
        {
            throw new InputException("pupil.obstruction",
                $"The central obstruction is {Obstruction}; it is the ratio of diameters and must lie between 0 and 0.95. Give the secondary's diameter " +
                    "divided by the aperture.", "obstruction");
        }

        if (!(Math.Sqrt(Square(ObstructionX) + Square(ObstructionY)) + Obstruction < 1))
        {
            throw new InputException("pupil.obstruction-offset",
                $"An obstruction of {Obstruction} with its centre at ({ObstructionX}, {ObstructionY}) reaches over the edge of the aperture (radius 1). Give "
                    + "its offset from the middle in radii of the aperture.", "obstruction");
        }

        foreach (Vane vane in Vanes)
        {
            if (!(vane.WidthFraction > 0 && vane.WidthFraction < 0.25) || !double.IsFinite(vane.AngleDeg))
            {
                throw new InputException("pupil.vane",
                    $"A vane of width {vane.WidthFraction} apertures at {vane.AngleDeg} degrees cannot be; the width is a ratio to the aperture's diameter, " +
                        "above 0 and below 0.25.", "vanes");
            }
        }

        if (Vignetting is { } cut && !(cut.Radius > 0 && Math.Sqrt((cut.X * cut.X) + (cut.Y * cut.Y)) < cut.Radius))
        {
            throw new InputException("pupil.vignetting", "The vignetting circle must have a positive radius and hold the centre of the pupil.", "vignetting");
        }
    }

    /// <summary>True when the point passes light.</summary>
    public bool Passes(double x, double y) => Passes(x, y, [.. Vanes.Select(v => v.Stripe)]);

    /// <summary>The same for those who ask often and have the vanes' directions ready.</summary>
    internal bool Passes(double x, double y, Stripe[] vanes)
    {
        if ((x * x) + (y * y) > 1 || Square(x - ObstructionX) + Square(y - ObstructionY) < Obstruction * Obstruction)
        {
            return false;
        }

        foreach (Stripe vane in vanes)
        {
            if (vane.DistanceInside(x, y) > 0)
            {
                return false;
            }
        }

        return Vignetting is not { } cut || Square(x - cut.X) + Square(y - cut.Y) <= cut.Radius * cut.Radius;
    }

    private static double Square(double v) => v * v;
}

/// <summary>One straight vane from the centre to the edge.</summary>
/// <param name="AngleDeg">Direction from the centre, from +x towards +y.</param>
/// <param name="WidthFraction">Width as a fraction of the aperture's diameter.</param>
public sealed record Vane(double AngleDeg, double WidthFraction)
{
    /// <summary>Where it lies.</summary>
    internal Stripe Stripe
    {
        get
        {
            (double s, double c) = Math.SinCos(AngleDeg * (Math.PI / 180));
            return new Stripe(c, s, WidthFraction);
        }
    }
}

/// <summary>A vane with its direction worked out.</summary>
/// <param name="Cos">Of its direction.</param>
/// <param name="Sin">Of its direction.</param>
/// <param name="HalfWidth">Half its width, pupil radii: its width as a fraction of the diameter.</param>
internal readonly record struct Stripe(double Cos, double Sin, double HalfWidth)
{
    /// <summary>How far inside the vane a point lies, in pupil radii; negative outside.</summary>
    internal double DistanceInside(double x, double y)
    {
        double along = (x * Cos) + (y * Sin);
        return Math.Min(along, HalfWidth - Math.Abs((y * Cos) - (x * Sin)));
    }
}

/// <summary>A circle that the light must also pass.</summary>
/// <param name="X">Its centre, pupil radii.</param>
/// <param name="Y">Its centre, pupil radii.</param>
/// <param name="Radius">Its radius, pupil radii.</param>
public sealed record VignettedEdge(double X, double Y, double Radius);
