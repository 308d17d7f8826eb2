using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>Truth: the distance of every pair.</summary>
public class LoneSeedsTests
{
    [Theory]
    [InlineData(40)]
    [InlineData(400)]
    public void A_seed_called_alone_has_none_near(int count)
    {
        const double Reach = 17.4;
        var random = new Random(count);
        Seed[] seeds = [.. Enumerable.Range(0, count).Select(_ => new Seed(random.Next(1000), random.Next(700), 1, 1)).OrderBy(s => s.Y).ThenBy(s => s.X)];
        bool[] alone = LoneSeeds.Find(seeds, 1000, Reach);
        int truly = 0;
        for (int i = 0; i < count; i++)
        {
            bool near = false;
            for (int k = 0; k < count; k++)
            {
                double dx = seeds[k].X - seeds[i].X, dy = seeds[k].Y - seeds[i].Y;
                near |= k != i && (dx * dx) + (dy * dy) <= Reach * Reach;
            }

            Assert.False(near && alone[i]);
            truly += near ? 0 : 1;
        }

        // Sparse fields are what it is for: most that are alone are told.
        Assert.True(alone.Count(a => a) > (count < 100 ? 0.7 : 0.3) * truly);
    }

    [Fact]
    public void In_another_order_none_is_called_alone() =>
        Assert.DoesNotContain(true, LoneSeeds.Find([new Seed(10, 500, 1, 1), new Seed(600, 20, 1, 1)], 1000, 17.4));
}
