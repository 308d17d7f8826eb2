using MathNet.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>What each fine sample gives to a pixel along one axis: the integral of a Gaussian round the sample over the pixel's width.</summary>
internal sealed class GaussianWeights
{
    // The Gaussian beyond this holds 2e-7 of it: single precision does not see it.
    private const double ReachInSigma = 5.2;

    /// <summary>Makes the weights.</summary>
    /// <param name="variancePx2">Variance in square pixels.</param>
    /// <param name="oversampling">Fine samples along a pixel.</param>
    public GaussianWeights(double variancePx2, int oversampling)
    {
        double sigma = Math.Sqrt(variancePx2) * oversampling;
        int half = (int)Math.Ceiling((ReachInSigma * sigma) + (0.5 * oversampling));
        Value = new float[(2 * half) + 1];
        Slope = new float[Value.Length];
        for (int k = 0; k <= half; k++)
        {
            double a = (k - (0.5 * oversampling)) / sigma;
            double b = (k + (0.5 * oversampling)) / sigma;
            float value = (float)(0.5 * (SpecialFunctions.Erf(b / Math.Sqrt(2)) - SpecialFunctions.Erf(a / Math.Sqrt(2))));
            float slope = (float)(((a * Density(a)) - (b * Density(b))) / (2 * variancePx2));
            (Value[half - k], Value[half + k]) = (value, value);
            (Slope[half - k], Slope[half + k]) = (slope, slope);
        }
    }

    /// <summary>Weights from the farthest sample on one side to the farthest on the other.</summary>
    public float[] Value { get; }

    /// <summary>Their derivative by the variance, per square pixel.</summary>
    public float[] Slope { get; }

    private static double Density(double z) => Math.Exp(-0.5 * z * z) / Math.Sqrt(2 * Math.PI);
}
