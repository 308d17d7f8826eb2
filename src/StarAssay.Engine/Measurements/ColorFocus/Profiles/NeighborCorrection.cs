namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What neighboring colors mix into the profiles, and how well that is known.</summary>
/// <param name="Light">To be taken from each profile, frames x bins x rows, ADU.</param>
/// <param name="Doubtful">Light of the same shape of which a share may be wrong, the same all over a profile.</param>
internal sealed record NeighborCorrection(double[][][] Light, double[][][] Doubtful)
{
    // The star's own spectrum is sharpened from few columns, where discs are large and grow steeply most of all. Against the light that a
    // drawn achromat (f/11.6) really mixes in, bins below 440 nm were off by 0.6 to 1.1 of it, those above by 0.15 to 1: found on that.
    private const double Share = 0.5;

    /// <summary>Standard deviation of the correction in the rows of one profile, ADU; it moves all rows together.</summary>
    public double[] Error(int frame, int bin) => [.. Doubtful[frame][bin].Select(v => Share * v)];
}
