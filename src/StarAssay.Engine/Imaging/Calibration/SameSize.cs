using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging.Calibration;

/// <summary>Frames that are used together must have one size.</summary>
internal static class SameSize
{
    public static void Require(Frame first, Frame other)
    {
        if ((first.Width, first.Height) != (other.Width, other.Height))
        {
            throw new InputException("frame.size-differs",
                $"{other.Name} is {other.Width} x {other.Height} pixels, {first.Name} is {first.Width} x {first.Height}. Use frames of one camera with one " +
                    "binning.",
                "frames", other.Name);
        }
    }
}
