namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What a single spectrum gives to the curve besides its bins: the smooth curve (focus minus sensor) and its replicates, twice
/// the size where the sign is open, the error of the size, and whether the signs are decided on the whole.</summary>
internal sealed record SingleCurve(double[] Smooth, double[][] Replicates, double[] OpenSign, double[] SizeError, bool Decided);
