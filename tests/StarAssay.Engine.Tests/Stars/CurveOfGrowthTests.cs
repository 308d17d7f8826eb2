using StarAssay.Engine.Numerics;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>Truth: areas of circles, and a fine grid of points.</summary>
public class CurveOfGrowthTests
{
    [Theory]
    [InlineData(0.3)]
    [InlineData(0.9)]
    [InlineData(1.7)]
    [InlineData(4.123)]
    [InlineData(11.5)]
    public void Overlaps_add_up_to_the_circle(double radius)
    {
        foreach ((double cx, double cy) in new[] { (0.0, 0.0), (0.5, 0.5), (0.137, -0.421), (0.49, 0.01) })
        {
            double sum = 0;
            for (int y = -14; y <= 14; y++)
            {
                for (int x = -14; x <= 14; x++)
                {
                    sum += CurveOfGrowth.Overlap(x - cx, y - cy, radius);
                }
            }

            Assert.Equal(Math.PI * radius * radius, sum, 1e-7 * radius * radius);
        }
    }

    [Fact]
    public void Each_overlap_is_the_counted_area()
    {
        var random = new Random(2);
        for (int trial = 0; trial < 200; trial++)
        {
            double r = 0.2 + (5 * random.NextDouble()), dx = 6 * (random.NextDouble() - 0.5), dy = 6 * (random.NextDouble() - 0.5);
            const int N = 400;
            int hits = 0;
            for (int j = 0; j < N; j++)
            {
                for (int i = 0; i < N; i++)
                {
                    double x = dx - 0.5 + ((i + 0.5) / N), y = dy - 0.5 + ((j + 0.5) / N);
                    hits += (x * x) + (y * y) <= r * r ? 1 : 0;
                }
            }

            // The grid errs along the arc by less than its length times a cell's side.
            Assert.Equal(hits / (double)(N * N), CurveOfGrowth.Overlap(dx, dy, r), 3e-3);
        }
    }

    [Fact]
    public void A_uniform_stamp_gives_the_area_times_the_level()
    {
        var stamp = new Stamp(12);
        for (int y = 0; y < stamp.Side; y++)
        {
            stamp.Pixels.AsSpan(y * stamp.Stride, stamp.Side).Fill(3);
        }

        foreach (double r in new[] { 0.4, 1.0, 2.5, 7.77, 11.9 })
        {
            Assert.Equal(3 * Math.PI * r * r, CurveOfGrowth.Inside(stamp, 12.2, 11.7, r), 1e-5 * r * r);
        }
    }

    [Fact]
    public void Every_width_sums_like_the_scalar_twin()
    {
        var random = new Random(5);
        var stamp = new Stamp(15);
        for (int y = 0; y < stamp.Side; y++)
        {
            for (int x = 0; x < stamp.Side; x++)
            {
                stamp.Pixels[(y * stamp.Stride) + x] = (float)random.NextDouble();
            }
        }

        for (int trial = 0; trial < 300; trial++)
        {
            double r = 1.5 + (12 * random.NextDouble()), cx = 14 + (2 * random.NextDouble()), cy = 14 + (2 * random.NextDouble());
            double truth = CurveOfGrowth.InsideScalar(stamp, cx, cy, r);

            // Areas in single precision: r^2 x 1e-7 of cancellation for each of about 8 r pixels on the rim, at random.
            double tolerance = 2e-6 * r * r;
            Assert.Equal(truth, CurveOfGrowth.InsideLanes<Lanes128>(stamp, cx, cy, r), tolerance + 1e-5);
            Assert.Equal(truth, CurveOfGrowth.InsideLanes<Lanes256>(stamp, cx, cy, r), tolerance + 1e-5);
            Assert.Equal(truth, CurveOfGrowth.InsideLanes<Lanes512>(stamp, cx, cy, r), tolerance + 1e-5);
        }
    }

    [Fact]
    public void Small_circles_sum_like_the_scalar_twin_wherever_they_stand()
    {
        var random = new Random(6);
        var stamp = new Stamp(20);
        for (int y = 0; y < stamp.Side; y++)
        {
            for (int x = 0; x < stamp.Side; x++)
            {
                stamp.Pixels[(y * stamp.Stride) + x] = (float)random.NextDouble();
            }
        }

        for (int trial = 0; trial < 1000; trial++)
        {
            // Some stand so that the circle runs off the stamp, some exactly on a pixel's middle or corner.
            double r = 0.05 + (15.9 * Math.Pow(random.NextDouble(), 2)), cx = 42 * (random.NextDouble() - 0.02), cy = 42 * (random.NextDouble() - 0.02);
            if (trial % 5 == 0)
            {
                (cx, cy) = (Math.Round(2 * cx) / 2, Math.Round(2 * cy) / 2);
            }

            double truth = CurveOfGrowth.InsideScalar(stamp, cx, cy, r);

            // Each corner's area is rounded to r^2 x 1e-7; about pi r^2 pixels add up at random.
            double tolerance = (1e-6 * r * r * (1 + r)) + 1e-6;
            Assert.Equal(truth, CurveOfGrowth.InsideCorners<Lanes128>(stamp, cx, cy, r), tolerance);
            Assert.Equal(truth, CurveOfGrowth.InsideCorners<Lanes256>(stamp, cx, cy, r), tolerance);
            Assert.Equal(truth, CurveOfGrowth.InsideCorners<Lanes512>(stamp, cx, cy, r), tolerance);
        }
    }
}
