namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What a single spectrum gives to the curve besides its bins: the smooth curve (focus minus sensor) and its replicates, NaN
/// beyond the measured bins, twice the size where the sign is open, the error of the size, and whether the signs are decided on the
/// whole.</summary>
internal sealed record SingleCurve(double[] Smooth, double[][] Replicates, double[] OpenSign, double[] SizeError, bool Decided)
{
    /// <summary>Bins that the curve covers, and their wavelengths.</summary>
    public (double[] Nm, int[] Bins) Inside(double[] nm)
    {
        int[] bins = [.. Enumerable.Range(0, nm.Length).Where(j => double.IsFinite(Smooth[j]))];
        return ([.. bins.Select(j => nm[j])], bins);
    }
}
