using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Imaging;

/// <summary>Mosaics drawn with a known phase.</summary>
public class BayerTests
{
    [Theory]
    [InlineData("RGGB", MosaicGreens.AntiDiagonal)]
    [InlineData("BGGR", MosaicGreens.AntiDiagonal)]
    [InlineData("GRBG", MosaicGreens.MainDiagonal)]
    [InlineData("GBRG", MosaicGreens.MainDiagonal)]
    public void Greens_are_found(string pattern, MosaicGreens greens)
    {
        BayerPlanes planes = Bayer.Split(Mosaic(pattern), new BayerRequest { Pattern = pattern }, RunContext.Default);
        Assert.Equal(greens, planes.Evidence.Greens);
        Assert.Equal(pattern, planes.Pattern);
        Assert.Empty(planes.Notes);
    }

    [Fact]
    public void A_wrong_phase_is_turned_over_and_said()
    {
        BayerPlanes planes = Bayer.Split(Mosaic("GBRG"), new BayerRequest { Pattern = "RGGB" }, RunContext.Default);
        Assert.Equal("GBRG", planes.Pattern);
        Note note = Assert.Single(planes.Notes);
        Assert.Equal(FrameNotes.BayerContradicts.Code, note.Code);
        Assert.Contains("GRBG", note.Text, StringComparison.Ordinal);
    }

    [Fact]
    public void A_trusted_phase_is_kept_and_the_doubt_said()
    {
        BayerPlanes planes = Bayer.Split(Mosaic("GBRG"), new BayerRequest { Pattern = "RGGB", TrustPattern = true }, RunContext.Default);
        Assert.Equal("RGGB", planes.Pattern);
        Assert.Single(planes.Notes);
    }

    [Fact]
    public void A_gray_image_is_no_mosaic_and_columns_that_alternate_are_not_one()
    {
        Assert.Equal(MosaicGreens.NoMosaic, Greens(Draw.Frame(300, 300, (x, y) => 500 + (0.5 * x) + (0.3 * y), 15)));
        Assert.Equal(MosaicGreens.Undecided, Greens(Draw.Frame(300, 300, (x, _) => 500 + (30 * (x % 2)), 15)));
    }

    [Fact]
    public void Planes_hold_the_pixels_at_their_offsets()
    {
        Frame mosaic = Draw.Frame(7, 5, (x, y) => (10 * y) + x);
        BayerPlanes planes = Bayer.Split(mosaic, new BayerRequest { Pattern = "GRBG" }, RunContext.Default);
        Assert.Equal(["R", "G1", "G2", "B"], planes.Planes.Select(p => p.Color));
        Assert.Equal([(1, 0), (0, 0), (1, 1), (0, 1)], planes.Planes.Select(p => (p.OffsetX, p.OffsetY)));
        ColorPlane red = planes.Planes[0];
        Assert.Equal((3, 3), (red.Width, red.Height));
        float[] values = new float[9];
        Buffer.BlockCopy(red.Bytes, 0, values, 0, red.Bytes.Length);
        Assert.Equal([1, 3, 5, 21, 23, 25, 41, 43, 45], values);
    }

    [Fact]
    public void No_pattern_is_guessed()
    {
        InputException error = Assert.Throws<InputException>(() => Bayer.Split(Mosaic("RGGB"), new BayerRequest { Pattern = "RGB" }, RunContext.Default));
        Assert.Contains("GBRG", error.Message, StringComparison.Ordinal);
    }

    private static MosaicGreens Greens(Frame frame) => FrameInspector.Inspect(frame, RunContext.Default).Mosaic.Greens;

    private static Frame Mosaic(string pattern) => Draw.Frame(300, 260, (x, y) =>
    {
        double gradient = 1 + (0.001 * x);
        return gradient * pattern[(2 * (y % 2)) + (x % 2)] switch { 'R' => 520, 'G' => 600, _ => 480 };
    }, 20);
}
