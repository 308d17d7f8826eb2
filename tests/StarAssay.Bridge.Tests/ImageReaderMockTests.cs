using Moq;
using StarAssay.Bridge.Astropy;
using StarAssay.Engine.Imaging;

namespace StarAssay.Bridge.Tests;

/// <summary>How a C# program reads several frames, with the file access mocked.</summary>
public class ImageReaderMockTests
{
    [Fact]
    public void A_pair_is_read_in_the_order_asked_for()
    {
        var reader = new Mock<IImageReader>(MockBehavior.Strict);
        foreach (string name in (string[])["inside.fits", "outside.fits"])
        {
            reader.Setup(r => r.Read(name)).Returns(new Frame { Pixels = RawPixels.FromFloats(new float[4], 2, 2), Name = name });
        }

        Frame[] pair = [.. ImageReading.ReadAll(reader.Object, ["inside.fits", "outside.fits"])];
        Assert.Equal(["inside.fits", "outside.fits"], pair.Select(f => f.Name));
        reader.VerifyAll();
    }

    [Fact]
    public void Frames_of_different_size_are_refused_by_name()
    {
        var reader = new Mock<IImageReader>();
        reader.Setup(r => r.Read("a.fits")).Returns(new Frame { Pixels = RawPixels.FromFloats(new float[4], 2, 2), Name = "a.fits" });
        reader.Setup(r => r.Read("b.fits")).Returns(new Frame { Pixels = RawPixels.FromFloats(new float[6], 3, 2), Name = "b.fits" });
        var error = Assert.Throws<Engine.Results.InputException>(() => ImageReading.ReadAll(reader.Object, ["a.fits", "b.fits"]).ToArray());
        Assert.Contains("b.fits", error.Message, StringComparison.Ordinal);
        Assert.Contains("2 x 2", error.Message, StringComparison.Ordinal);
    }
}
