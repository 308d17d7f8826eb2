using Python.Runtime;
using StarAssay.Bridge.Astropy;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge.Tests;

/// <summary>FITS read by Astropy from C#: Astropy also wrote the files, so both ends are its own.</summary>
[Collection(PythonCollection.Name)]
public sealed class AstropyImageReaderTests : IDisposable
{
    private readonly string folder = Directory.CreateTempSubdirectory("starassay").FullName;

    public void Dispose() => Directory.Delete(folder, recursive: true);

    [PythonFact]
    public void Unsigned_16_bit_pixels_arrive_as_stored()
    {
        string path = Write("numpy.arange(12, dtype='uint16').reshape(3, 4) + 40000");
        Frame frame = new AstropyImageReader().Read(path);
        Assert.Equal((4, 3), (frame.Width, frame.Height));
        Assert.Equal(PixelFormat.Int16, frame.Pixels.Format);
        Assert.True(frame.Pixels.BigEndian);
        Assert.Equal(32768, frame.Pixels.Zero);

        // FITS standard 4.0, section 4.4.2.5: unsigned 16-bit = stored signed value + BZERO 32768, big-endian.
        ReadOnlySpan<byte> bytes = frame.Pixels.Bytes.Span;
        short last = System.Buffers.Binary.BinaryPrimitives.ReadInt16BigEndian(bytes[22..]);
        Assert.Equal(40011, last + frame.Pixels.Zero);
    }

    [PythonFact]
    public void Floats_arrive_as_stored()
    {
        Frame frame = new AstropyImageReader().Read(Write("numpy.linspace(-1, 1, 6, dtype='float32').reshape(2, 3)"));
        Assert.Equal(PixelFormat.Float32, frame.Pixels.Format);
        Assert.Equal(1f, System.Buffers.Binary.BinaryPrimitives.ReadSingleBigEndian(frame.Pixels.Bytes.Span[20..]));
    }

    [PythonFact]
    public void A_text_file_is_refused_in_words()
    {
        string path = Path.Combine(folder, "notes.fits");
        File.WriteAllText(path, "not an image");
        InputException error = Assert.Throws<InputException>(() => new AstropyImageReader().Read(path));
        Assert.Contains("cannot be read as FITS", error.Message, StringComparison.Ordinal);
        Assert.Equal(path, error.Subject);
    }

    [PythonFact]
    public void A_cube_is_refused_in_words()
    {
        InputException error = Assert.Throws<InputException>(() => new AstropyImageReader().Read(Write("numpy.zeros((2, 3, 4))")));
        Assert.Contains("3 axes", error.Message, StringComparison.Ordinal);
    }

    [Fact]
    public void A_missing_file_is_refused_before_Python_is_asked()
    {
        InputException error = Assert.Throws<InputException>(() => new AstropyImageReader().Read(Path.Combine(folder, "none.fits")));
        Assert.Equal("file.missing", error.Code);
    }

    private string Write(string expression)
    {
        string path = Path.Combine(folder, "frame.fits");
        using (Py.GIL())
        {
            using PyModule scope = Py.CreateScope();
            scope.Set("path", path);
            scope.Exec($"import numpy\nfrom astropy.io import fits\nfits.PrimaryHDU({expression}).writeto(path, overwrite=True)");
        }

        return path;
    }
}
