using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>The pixels of one pair as the fit uses them.</summary>
internal sealed class PairData
{
    /// <summary>Makes an empty pair.</summary>
    /// <param name="window">Pixels along each side.</param>
    /// <param name="memory">Where the pixels come from; the pair must end before it does. By default they are the pair's own.</param>
    public PairData(int window, MatrixLease? memory = null)
    {
        float[] New() => memory?.Floats(window * window) ?? new float[window * window];
        Window = window;
        Electrons = [New(), New()];
        BaseVariance = [New(), New()];
        Use = [New(), New()];
    }

    /// <summary>Pixels along each side.</summary>
    public int Window { get; }

    /// <summary>Detected electrons, background included, bias not.</summary>
    public float[][] Electrons { get; }

    /// <summary>Variance that does not come from the photons: read noise and rounding, electrons squared.</summary>
    public float[][] BaseVariance { get; }

    /// <summary>1 where the pixel counts, 0 where it is masked.</summary>
    public float[][] Use { get; }

    /// <summary>A copy that a trial fit may mask and clean as it likes.</summary>
    public PairData Copy()
    {
        var copy = new PairData(Window);
        for (int k = 0; k < 2; k++)
        {
            Electrons[k].CopyTo(copy.Electrons[k], 0);
            BaseVariance[k].CopyTo(copy.BaseVariance[k], 0);
            Use[k].CopyTo(copy.Use[k], 0);
        }

        return copy;
    }
}
