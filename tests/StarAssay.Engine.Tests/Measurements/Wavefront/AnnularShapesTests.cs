using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Tests.Measurements.Wavefront;

/// <summary>Primary aberrations over a ring against Mahajan's closed forms (J. Opt. Soc. Am. 71, 75 (1981), balanced aberrations of an annular pupil;
/// written from memory, and equal to the circle's 1/(6 sqrt 5), 1/(6 sqrt 2), 1/(2 sqrt 6) at e = 0).</summary>
public class AnnularShapesTests
{
    [Theory]
    [InlineData(0.0)]
    [InlineData(0.2)]
    [InlineData(0.33)]
    [InlineData(0.5)]
    public void PrimaryAberrationsBalancedOverARing(double e)
    {
        double e2 = e * e;

        // W = rho^4, rho^3 cos, rho^2 cos^2 with a coefficient of 100 nm each: their circle coefficients first.
        Check(11, 100 / (6 * Math.Sqrt(5)), 100 * Math.Pow(1 - e2, 2) / (6 * Math.Sqrt(5)), e);
        Check(8, 100 / (6 * Math.Sqrt(2)), 100 * (1 - e2) * Math.Sqrt(1 + (4 * e2) + (e2 * e2)) / (6 * Math.Sqrt(2) * Math.Sqrt(1 + e2)), e);
        Check(6, 100 / (2 * Math.Sqrt(6)), 100 * Math.Sqrt(1 + e2 + (e2 * e2)) / (2 * Math.Sqrt(6)), e);
    }

    /// <summary>The sum of squares over the annular modes is the mean square over the ring once piston, tilt and focus are out.</summary>
    [Fact]
    public void SquaresAddUpToTheMapsPower()
    {
        const double E = 0.35;
        var modes = new FitModes(E, 22, 45);
        const int Count = 32;
        var random = new Random(7);
        double[] c = [.. Enumerable.Range(0, Count).Select(_ => random.NextDouble() - 0.5)];
        Vector<double> ring = AnnularShapes.From(modes, Count, E) * Vector<double>.Build.DenseOfArray(c);
        var map = new MapMaker(new StarAssay.Engine.Optics.PupilShape { Obstruction = E }, modes, Count, 256);
        Assert.Equal(map.Rms(c), ring.L2Norm(), 0.002 * ring.L2Norm()); // the raster of the map
    }

    private static void Check(int noll, double circle, double annular, double e)
    {
        var modes = new FitModes(e, 22, 45);
        double[] c = new double[18];
        c[noll - 5] = circle;
        Vector<double> ring = AnnularShapes.From(modes, c.Length, e) * Vector<double>.Build.DenseOfArray(c);
        Assert.Equal(annular, ring[noll - 5], 1e-9);
    }
}
