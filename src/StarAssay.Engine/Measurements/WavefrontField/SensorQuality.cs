namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>Wavefront error over the whole sensor by the laws, the sensor standing where the mean square over it is least.</summary>
/// <param name="Rms">Square root of the mean square, nm.</param>
/// <param name="BestU">Place with the least error.</param>
/// <param name="BestV">The same upwards.</param>
internal sealed record SensorQuality(double Rms, double BestU, double BestV)
{
    private const int Grid = 41;

    /// <summary>Looks over the sensor.</summary>
    /// <param name="reachU">Right edge, over half the diagonal.</param>
    /// <param name="reachV">Upper edge.</param>
    /// <param name="nmPerUm">RMS of defocus for one um.</param>
    /// <param name="focus">Terms of focus.</param>
    /// <param name="coma">Terms of coma.</param>
    /// <param name="astigmatism">Terms of astigmatism.</param>
    /// <param name="spherical">Spherical aberration.</param>
    /// <param name="trefoil">Trefoil.</param>
    public static SensorQuality Of(double reachU, double reachV, double nmPerUm, double[] focus, double[] coma, double[] astigmatism, double[] spherical,
        double[] trefoil)
    {
        (double U, double V)[] places = [.. from j in Enumerable.Range(0, Grid) from i in Enumerable.Range(0, Grid)
            select (reachU * Step(i), reachV * Step(j))];
        double[] z = [.. places.Select(p => FieldTerms.At(FieldTerms.Focus(p.U, p.V), focus)[0])];

        // The mean square is least where the sensor stands at the mean of best focus.
        double at = z.Average();
        double[] square = [.. places.Select((p, k) =>
            Math.Pow(nmPerUm * (z[k] - at), 2) + FieldLaws.SquareAt(p.U, p.V, coma, astigmatism, spherical, trefoil))];
        int best = Array.IndexOf(square, square.Min());
        return new SensorQuality(Math.Sqrt(square.Average()), places[best].U, places[best].V);
    }

    private static double Step(int k) => (2.0 * k / (Grid - 1)) - 1;
}
