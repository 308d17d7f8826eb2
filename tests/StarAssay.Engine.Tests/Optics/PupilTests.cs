using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>Truth: areas and moments in closed form.</summary>
public class PupilTests
{
    [Theory]
    [InlineData(0.0, 64, 50.0)]
    [InlineData(0.35, 128, 101.3)]
    [InlineData(0.6, 257, 200.0)]
    public void Area_of_a_ring_is_exact(double obstruction, int size, double across)
    {
        double[] t = PupilRaster.Draw(new PupilShape { Obstruction = obstruction }, size, across);
        double expected = Math.PI / 4 * across * across * (1 - (obstruction * obstruction));
        Assert.Equal(1, t.Sum() / expected, 1e-12);
        Assert.All(t, v => Assert.InRange(v, -1e-12, 1 + 1e-12));
    }

    [Fact]
    public void An_obstruction_out_of_the_middle_keeps_area_and_moves_the_centroid()
    {
        // Centroid of the light: what is missing, area e^2 at (x, y), pulls it the other way.
        var shape = new PupilShape { Obstruction = 0.3, ObstructionX = 0.11, ObstructionY = -0.07 };
        const int Size = 130;
        double[] t = PupilRaster.Draw(shape, Size, 120.4);
        double step = 2 / 120.4, light = t.Sum() * step * step;
        Assert.Equal(Math.PI * (1 - 0.09), light, 1e-9);
        double x = t.Select((v, k) => v * ((k % Size) - (Size / 2)) * step).Sum() * step * step / light;
        double y = t.Select((v, k) => v * ((k / Size) - (Size / 2)) * step).Sum() * step * step / light;
        Assert.Equal(-0.09 * 0.11 / (1 - 0.09), x, 2e-5);
        Assert.Equal(0.09 * 0.07 / (1 - 0.09), y, 2e-5);
        Assert.True(shape.Passes(-0.2, 0.1) && !shape.Passes(0.35, -0.07));
        Assert.Throws<InputException>(() => (shape with { ObstructionX = 0.75 }).RequireValid());
    }

    [Fact]
    public void A_vane_hides_its_own_area()
    {
        var bare = new PupilShape { Obstruction = 0.3 };
        PupilShape held = bare with { Vanes = [new Vane(0, 0.02), new Vane(90, 0.02), new Vane(212, 0.01)] };
        double step = 2 / 200.0;
        double lost = (PupilRaster.Draw(bare, 220, 200).Sum() - PupilRaster.Draw(held, 220, 200).Sum()) * step * step;
        // Each vane: (1 - e) long, 2 x fraction wide in pupil radii; the bowed ends change that by less than width^3.
        Assert.Equal(0.7 * 2 * (0.02 + 0.02 + 0.01), lost, 2e-4);
    }

    [Fact]
    public void A_vignetted_edge_leaves_the_lens_shaped_overlap()
    {
        var shape = new PupilShape { Vignetting = new VignettedEdge(0.4, 0, 1) };
        double step = 2 / 300.0;
        // Overlap of two unit circles at distance d: 2 acos(d/2) - (d/2) sqrt(4 - d^2).
        double expected = (2 * Math.Acos(0.2)) - (0.2 * Math.Sqrt(4 - 0.16));
        double[] t = PupilRaster.Draw(shape, 310, 300);
        Assert.Equal(expected, t.Sum() * step * step, 1e-4);
        double momentX = 0;
        for (int k = 0; k < t.Length; k++)
        {
            momentX += t[k] * ((k % 310) - 155) * step;
        }

        // By symmetry the overlap's centre lies half-way between the two centres.
        Assert.Equal(0.2, momentX / t.Sum(), 1e-4);
    }

    [Fact]
    public void A_vane_points_where_its_angle_says()
    {
        double[] t = PupilRaster.Draw(new PupilShape { Obstruction = 0.1, Vanes = [new Vane(90, 0.05)] }, 64, 60);
        Assert.Equal(0, t[(50 * 64) + 32], 1e-12);
        Assert.Equal(1, t[(14 * 64) + 32], 1e-12);
        Assert.Equal(1, t[(32 * 64) + 50], 1e-12);
    }

    [Theory]
    [InlineData(-0.1)]
    [InlineData(1.0)]
    [InlineData(double.NaN)]
    public void An_impossible_obstruction_is_refused(double e)
    {
        InputException error = Assert.Throws<InputException>(() => PupilRaster.Draw(new PupilShape { Obstruction = e }, 16, 12));
        Assert.Equal("pupil.obstruction", error.Code);
    }
}
