namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>What the fit of one star found.</summary>
/// <param name="DistanceUm">Sensor from best focus at the star, in each frame, negative inside.</param>
/// <param name="CoefficientNm">Noll 5 upwards.</param>
/// <param name="Seeing">(D/r0)^(5/3) of each frame; as held, where it was held.</param>
/// <param name="FocusVariance">Of the mean of both distances, um^2, by photons alone.</param>
/// <param name="TravelVariance">Of their difference, um^2.</param>
/// <param name="Variance">Of each coefficient, nm^2.</param>
/// <param name="ChiSquared">Per degree of freedom.</param>
internal sealed record StarWavefront(double[] DistanceUm, double[] CoefficientNm, double[] Seeing, double FocusVariance, double TravelVariance,
    double[] Variance, double ChiSquared)
{
    /// <summary>Mean of both distances, um.</summary>
    public double Middle => 0.5 * (DistanceUm[0] + DistanceUm[1]);

    /// <summary>The way of the focuser between the frames, um.</summary>
    public double Travel => DistanceUm[1] - DistanceUm[0];
}
