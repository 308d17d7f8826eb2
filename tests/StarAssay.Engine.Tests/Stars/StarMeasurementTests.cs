using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>Truth: the stars that were drawn; of a Gaussian HFR = sqrt(2 ln 2) sigma = 1.17741 sigma, FWHM = 2.35482 sigma (its integral in closed form).</summary>
public class StarMeasurementTests
{
    private const StarMarks Rejected = StarMarks.CosmicRay | StarMarks.NotAStar;

    [Fact]
    public void Finds_every_star_and_nothing_else()
    {
        var sky = new TestSky();
        StarField field = StarMeasurement.Measure(new StarRequest { Frame = sky.Frame }, RunContext.Default);
        Assert.Equal(sky.Stars.Count, field.X.Length);
        foreach ((double x, double y, double flux) in sky.Stars)
        {
            int k = Nearest(field, x, y);
            Assert.Equal(x, field.X[k], 5 * field.XUncertainty[k] + 0.002);
            Assert.Equal(y, field.Y[k], 5 * field.YUncertainty[k] + 0.002);
            Assert.InRange(field.Flux[k], flux - (4 * field.FluxUncertainty[k]) - (0.01 * flux), flux + (4 * field.FluxUncertainty[k]));
        }

        // Gaussian: 1.17741 sigma. The median of 30 stars scatters by a few tenths of a percent.
        Assert.Equal(1.17741 * TestSky.Sigma, field.MedianHfr.Value, 0.01 * TestSky.Sigma);
        Assert.True(field.TypicalEllipticity.Value < 0.02);
        Assert.Contains(field.Zones, z => z.Zone == "center" && z.Stars > 0);
    }

    [Trait("Compares", "bits")]
    [Fact]
    public void Any_number_of_threads_gives_the_same_bits()
    {
        var sky = new TestSky(2);
        StarField one = StarMeasurement.Measure(new StarRequest { Frame = sky.Frame }, new RunContext(1));
        foreach (int threads in new[] { 2, 4 })
        {
            StarField many = StarMeasurement.Measure(new StarRequest { Frame = sky.Frame }, new RunContext(threads));
            Assert.Equal(one.X, many.X);
            Assert.Equal(one.Hfr, many.Hfr);
            Assert.Equal(one.Flux, many.Flux);
            Assert.Equal(one.Ellipticity, many.Ellipticity);
            Assert.Equal(one.Flags, many.Flags);
        }
    }

    [Fact]
    public void Hot_pixels_and_cosmic_rays_are_no_stars()
    {
        var sky = new TestSky(3);
        (int X, int Y)[] hits = [(60, 60), (120, 200), (300, 70), (351, 250), (200, 122)];
        foreach ((int x, int y) in hits)
        {
            sky.Pixels[(y * TestSky.Width) + x] += 3000;
        }

        for (int t = 0; t < 9; t++)
        {
            sky.Pixels[((180 + t) * TestSky.Width) + 62 + (t / 2)] += 800;
        }

        StarField field = StarMeasurement.Measure(new StarRequest { Frame = sky.Frame }, RunContext.Default);
        int taken = Enumerable.Range(0, field.X.Length).Count(k => ((StarMarks)field.Flags[k] & Rejected) == 0
            && sky.Stars.TrueForAll(s => Math.Abs(s.X - field.X[k]) + Math.Abs(s.Y - field.Y[k]) > 1));
        Assert.Equal(0, taken);
        Assert.All(sky.Stars, s => Assert.Equal(0, field.Flags[Nearest(field, s.X, s.Y)] & (int)Rejected));
    }

    [Fact]
    public void A_galaxy_is_flagged_and_a_close_star_is_not_merged()
    {
        var sky = new TestSky(4);
        sky.Draw(70, 62, 20000, 5, 3.5);
        sky.Draw(sky.Stars[8].X + 9, sky.Stars[8].Y, sky.Stars[8].Flux, TestSky.Sigma, TestSky.Sigma);
        StarField field = StarMeasurement.Measure(new StarRequest { Frame = sky.Frame }, RunContext.Default);
        Assert.NotEqual(0, field.Flags[Nearest(field, 70, 62)] & (int)StarMarks.NotAStar);
        int near = Nearest(field, sky.Stars[8].X + 9, sky.Stars[8].Y);
        Assert.Equal(sky.Stars[8].X + 9, field.X[near], 0.1);
        Assert.NotEqual(0, field.Flags[near] & (int)StarMarks.Blended);
        Assert.NotEqual(0, field.Flags[Nearest(field, sky.Stars[8].X, sky.Stars[8].Y)] & (int)StarMarks.Blended);
    }

    [Fact]
    public void Clipped_masked_and_cut_stars_are_flagged()
    {
        var sky = new TestSky(5);
        sky.Draw(sky.Stars[3].X, sky.Stars[3].Y, 3e6, TestSky.Sigma, TestSky.Sigma);
        for (int i = 0; i < sky.Pixels.Length; i++)
        {
            sky.Pixels[i] = MathF.Min(sky.Pixels[i], 60000);
        }

        byte[] mask = new byte[sky.Pixels.Length];
        (double mx, double my, double flux) = sky.Stars[10];
        mask[(((int)Math.Round(my) + 1) * TestSky.Width) + (int)Math.Round(mx)] = 1;
        (double nx, double ny, _) = sky.Stars[16];
        sky.Pixels[((int)Math.Round(ny) * TestSky.Width) + (int)Math.Round(nx) + 1] = float.NaN;
        sky.Draw(2, 300, 30000, TestSky.Sigma, TestSky.Sigma);
        StarField field = StarMeasurement.Measure(new StarRequest { Frame = sky.Frame with { Mask = mask } }, RunContext.Default);
        Assert.NotEqual(0, field.Flags[Nearest(field, sky.Stars[3].X, sky.Stars[3].Y)] & (int)StarMarks.Saturated);
        int masked = Nearest(field, mx, my);
        Assert.NotEqual(0, field.Flags[masked] & (int)StarMarks.BadPixels);
        Assert.Equal(mx, field.X[masked], 0.15);
        Assert.Equal(flux, field.Flux[masked], 0.05 * flux);
        Assert.NotEqual(0, field.Flags[Nearest(field, nx, ny)] & (int)StarMarks.BadPixels);
        Assert.NotEqual(0, field.Flags[Nearest(field, 2, 300)] & (int)StarMarks.Edge);
        Assert.True(Array.TrueForAll(field.X, double.IsFinite));
    }

    [Fact]
    public void A_clipped_star_shows_even_when_the_level_is_not_known()
    {
        var sky = new TestSky(6);
        sky.Draw(sky.Stars[3].X, sky.Stars[3].Y, 3e5, TestSky.Sigma, TestSky.Sigma);
        for (int i = 0; i < sky.Pixels.Length; i++)
        {
            sky.Pixels[i] = MathF.Min(sky.Pixels[i], 9000);
        }

        StarField field = StarMeasurement.Measure(new StarRequest { Frame = sky.Frame with { SaturationAdu = double.NaN, GainElectronsPerAdu = double.NaN } }, RunContext.Default);
        Assert.NotEqual(0, field.Flags[Nearest(field, sky.Stars[3].X, sky.Stars[3].Y)] & (int)StarMarks.Saturated);
        Assert.Contains(field.Notes, n => n.Code == "stars.saturation-unknown");
        Assert.Contains(field.Notes, n => n.Code == "stars.gain-unknown");
    }

    [Trait("Compares", "bits")]
    [Fact]
    public void Stored_integers_in_file_order_give_the_same_stars()
    {
        var sky = new TestSky(7, noise: 12);
        byte[] bytes = new byte[sky.Pixels.Length * 2];
        float[] rounded = new float[sky.Pixels.Length];
        for (int i = 0; i < rounded.Length; i++)
        {
            rounded[i] = MathF.Round(sky.Pixels[i]);
            System.Buffers.Binary.BinaryPrimitives.WriteInt16BigEndian(bytes.AsSpan(2 * i), (short)(rounded[i] - 32768));
        }

        var stored = new RawPixels(bytes, PixelFormat.Int16, true, TestSky.Width, TestSky.Height, 1, 32768);
        StarField a = StarMeasurement.Measure(new StarRequest { Frame = sky.Frame with { Pixels = stored } }, RunContext.Default);
        StarField b = StarMeasurement.Measure(new StarRequest { Frame = sky.Frame with { Pixels = RawPixels.FromFloats(rounded, TestSky.Width, TestSky.Height) } }, RunContext.Default);
        Assert.Equal(b.X, a.X);
        Assert.Equal(b.Hfr, a.Hfr);
        Assert.True(a.X.Length >= sky.Stars.Count - 2);
    }

    [Fact]
    public void Nothing_found_is_an_error_that_says_why()
    {
        float[] pixels = new float[200 * 150];
        var random = new Random(1);
        for (int i = 0; i < pixels.Length; i++)
        {
            pixels[i] = (float)(random.NextDouble() + random.NextDouble());
        }

        StarField Measure() => StarMeasurement.Measure(new StarRequest { Frame = new Frame { Pixels = RawPixels.FromFloats(pixels, 200, 150), Name = "empty" } }, RunContext.Default);
        Assert.StartsWith("No star was found on empty. Expose", Assert.Throws<CannotMeasureException>(Measure).Message, StringComparison.Ordinal);
        pixels[(40 * 200) + 60] += 60;
        pixels[(90 * 200) + 120] += 200;
        Assert.StartsWith("No star was found", Assert.Throws<CannotMeasureException>(Measure).Message, StringComparison.Ordinal);
        for (int i = 0; i < 25; i++)
        {
            pixels[((70 + (i / 5)) * 200) + (i % 5)] += (float)(200 * Math.Exp(-0.3 * (Math.Pow((i / 5) - 2, 2) + Math.Pow((i % 5) - 2, 2))));
        }

        Assert.Contains("no whole star", Assert.Throws<CannotMeasureException>(Measure).Message, StringComparison.Ordinal);
        Array.Fill(pixels, 65535);
        Assert.Throws<CannotMeasureException>(Measure);
        Assert.Throws<InputException>(() => StarMeasurement.Measure(new StarRequest(), RunContext.Default));
    }

    private static int Nearest(StarField field, double x, double y) =>
        Enumerable.Range(0, field.X.Length).MinBy(k => ((field.X[k] - x) * (field.X[k] - x)) + ((field.Y[k] - y) * (field.Y[k] - y)));
}
