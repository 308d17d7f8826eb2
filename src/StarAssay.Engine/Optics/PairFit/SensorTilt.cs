namespace StarAssay.Engine.Optics.PairFit;

/// <summary>A sensor that does not stand square to the axis, radians along x and y: every pixel of both images sees the star at a distance of its own, by
/// its place times the tilt. To first order it sees its place times the tilt of what a change of the image's distance does there.</summary>
/// <remarks>Takes the fit's derivative images as the normal equations that it goes into have just made them.</remarks>
internal sealed class SensorTilt(JointFit fit) : IBeside
{
    /// <inheritdoc/>
    public int Count => 2;

    /// <inheritdoc/>
    public IReadOnlyList<(float[] Image, int At)> In(int pair, int k)
    {
        PairOptics optics = fit.Models[pair].Optics;
        int w = optics.Window;

        // nm of defocus a pixel and radian.
        float perPixel = (float)(fit.States[pair].Flux[k] * optics.DefocusNm(optics.PitchUm));
        float[] x = new float[w * w], y = new float[w * w];
        ReadOnlySpan<float> byDefocus = fit.Derivatives.DefocusImage(pair, k);
        for (int i = 0; i < x.Length; i++)
        {
            float change = perPixel * byDefocus[i];
            (x[i], y[i]) = (change * ((i % w) - (w / 2)), change * ((i / w) - (w / 2)));
        }

        return [(x, 0), (y, 1)];
    }
}
