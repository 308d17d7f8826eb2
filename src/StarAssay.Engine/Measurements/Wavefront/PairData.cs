namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>The pixels of one pair as the fit uses them.</summary>
internal sealed class PairData
{
    /// <summary>Makes an empty pair.</summary>
    /// <param name="window">Pixels along each side.</param>
    public PairData(int window)
    {
        Window = window;
        Electrons = [new float[window * window], new float[window * window]];
        BaseVariance = [new float[window * window], new float[window * window]];
        Use = [new float[window * window], new float[window * window]];
    }

    /// <summary>Pixels along each side.</summary>
    public int Window { get; }

    /// <summary>Detected electrons, background included, bias not.</summary>
    public float[][] Electrons { get; }

    /// <summary>Variance that does not come from the photons: read noise and rounding, electrons squared.</summary>
    public float[][] BaseVariance { get; }

    /// <summary>1 where the pixel counts, 0 where it is masked.</summary>
    public float[][] Use { get; }
}
