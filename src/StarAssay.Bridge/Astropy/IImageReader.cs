using StarAssay.Engine.Imaging;

namespace StarAssay.Bridge.Astropy;

/// <summary>Reads an image file into a frame, for programs written in C#.</summary>
public interface IImageReader
{
    /// <summary>Reads the first image of a file.</summary>
    /// <param name="path">Path of the file.</param>
    /// <returns>The frame; it owns its pixels.</returns>
    /// <exception cref="Engine.Results.InputException">The file is missing or holds no image.</exception>
    Frame Read(string path);
}
