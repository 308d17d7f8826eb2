using StarAssay.Engine.Numerics;
using Xunit;

namespace StarAssay.Engine.Tests.Numerics;

public class LaneMedianTests
{
    [Fact]
    public void Medians_side_by_side_are_those_of_sorted_lists()
    {
        var random = new Random(8);
        for (int length = 1; length <= 70; length++)
        {
            const int Stride = 32;
            var values = new float[length * Stride];
            for (int i = 0; i < values.Length; i++)
            {
                values[i] = random.Next(2) == 0 ? random.Next(5) : (float)random.NextDouble(); // ties as well
            }

            var wide = Array.ConvertAll(values, v => (double)v);
            double[] expected = [.. Enumerable.Range(0, Stride).Select(lane =>
            {
                double[] list = [.. Enumerable.Range(0, length).Select(i => (double)values[(i * Stride) + lane]).Order()];
                return 0.5 * (list[(length - 1) / 2] + list[length / 2]);
            })];
            double[] one = new double[Stride], two = new double[Stride];
            LaneMedian.Find<float>(values, length, Stride, one);
            LaneMedian.Find<double>(wide, length, Stride, two);
            Assert.Equal(expected, one);
            Assert.Equal(expected, two);
        }
    }
}
