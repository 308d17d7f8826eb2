using System.Numerics;
using StarAssay.Engine.Measurements.FocusSurface;

namespace StarAssay.Engine.Tests.Measurements.FocusSurface;

public class SurfaceFitTests
{
    [Fact]
    public void Slopes_are_those_of_differences()
    {
        double[] positions = [-200, -100, 0, 100, 200];
        var random = new Random(3);
        RunPoint[] points =
        [
            .. from star in Enumerable.Range(0, 30)
               let u = (2 * random.NextDouble()) - 1
               let v = (2 * random.NextDouble()) - 1
               from frame in Enumerable.Range(0, positions.Length)
               let defocus = positions[frame] - (20 + (40 * u) - (30 * v) + (25 * ((u * u) + (v * v))))
               select new RunPoint(frame, star, u, v, (90 + (0.0035 * defocus * defocus)) * (1 + (0.02 * random.NextDouble())), 0.01, Complex.Zero, 0.01),
        ];
        var fit = SurfaceFit.Of(points, positions, [false, false, false, true, true], new BlurGrowth(6, 0.2, 540));

        // Beside the minimum too, so that no slope is small by chance.
        double[] p = [.. fit.P.Select((value, k) => value + (k < 5 ? 3 : 0.05) * ((k % 3) - 1))];
        int[] filled = new int[SurfaceFit.Filled];
        double[] row = new double[SurfaceFit.Filled];
        for (int i = 0; i < points.Length; i++)
        {
            fit.Slopes(p, i, filled, row);
            for (int k = 0; k < filled.Length; k++)
            {
                double by = fit.SlopeByDifference(p, i, filled[k]);
                Assert.Equal(by, row[k], (1e-4 * Math.Abs(by)) + 1e-5);
            }

            Assert.Equal(filled.Length, filled.Distinct().Count());
        }
    }
}
