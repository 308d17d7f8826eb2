using StarAssay.Engine.Stars;
using Xunit;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>What the cells find is what looking at every point finds.</summary>
public class PointGridTests
{
    [Theory]
    [InlineData(7, 3.0)]
    [InlineData(300, 40.0)]
    [InlineData(300, 4.0)]
    public void The_nearest_are_those_that_sorting_all_finds(int count, double cell)
    {
        var random = new Random(5);
        double[] x = [.. Enumerable.Range(0, count).Select(_ => 500 * random.NextDouble())];
        double[] y = [.. Enumerable.Range(0, count).Select(_ => 300 * random.NextDouble())];
        var grid = new PointGrid(x, y, [.. Enumerable.Range(0, count)], cell);
        double[] distance = new double[12];
        int[] near = new int[12];
        for (int k = 0; k < 50; k++)
        {
            // Some places lie outside of all points, some on one.
            double px = k % 5 == 0 ? x[k % count] : (700 * random.NextDouble()) - 100, py = k % 5 == 0 ? y[k % count] : (500 * random.NextDouble()) - 100;
            int found = grid.Nearest(px, py, 1, distance, near);
            int[] sorted = [.. Enumerable.Range(0, count).Where(i => Square(i) >= 1).OrderBy(Square).Take(12)];
            Assert.Equal(sorted.Length, found);
            Assert.Equal(sorted, near[..found]);

            double Square(int i) => ((x[i] - px) * (x[i] - px)) + ((y[i] - py) * (y[i] - py));
        }
    }
}
