namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Whether a defocus that all colors share is one, or seeing that was taken for one.</summary>
/// <remarks>Squared widths of disc and seeing add, so that seeing a little wider and a disc a little smaller give almost the same
/// profile in every color. Fitted profiles tell them apart by their shape alone, by far more than noise and by far less than the
/// shape of real seeing is known to.</remarks>
internal static class CommonDefocus
{
    /// <summary>How well the shape of a profile is known, as a share of its light: our own choice.</summary>
    private const double ShapeError = 0.01;

    /// <summary>The curve with what all colors share given to the seeing: the sharpest color comes into focus.</summary>
    public static double[] Removed(double[] curve)
    {
        double shared = curve.Min(z => z * z);
        return [.. curve.Select(z => Math.Sign(z) * Math.Sqrt(Math.Max(0, (z * z) - shared)))];
    }

    /// <summary>Misfit that the shape of the profiles may add, in units of their variances.</summary>
    public static double ShapeAllowance(IEnumerable<ProfileBlock> blocks) => ShapeError * ShapeError * blocks.Sum(b => b.Energy());
}
