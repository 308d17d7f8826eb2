using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge.Astropy;

/// <summary>Reading frames that belong together.</summary>
public static class ImageReading
{
    /// <summary>Reads frames of one camera, one after the other, and checks that their sizes agree.</summary>
    /// <exception cref="InputException">A frame's size differs from the first one's.</exception>
    public static IEnumerable<Frame> ReadAll(IImageReader reader, IEnumerable<string> paths)
    {
        Frame? first = null;
        foreach (string path in paths)
        {
            Frame frame = reader.Read(path);
            first ??= frame;
            if ((frame.Width, frame.Height) != (first.Width, first.Height))
            {
                throw new InputException("frame.size-differs",
                    $"{frame.Name} is {frame.Width} x {frame.Height} pixels, {first.Name} is {first.Width} x {first.Height}. Use frames of one camera with " +
                        "one binning.",
                    nameof(paths), frame.Name);
            }

            yield return frame;
        }
    }
}
