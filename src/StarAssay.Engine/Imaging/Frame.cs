using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging;

/// <summary>One image with what is known of the camera that took it. NaN means "not known".</summary>
public sealed record Frame
{
    /// <summary>Pixels as stored.</summary>
    public required RawPixels Pixels { get; init; }

    /// <summary>Bad-pixel mask, one byte a pixel in the same order, nonzero = do not use; empty when there is none.</summary>
    public ReadOnlyMemory<byte> Mask { get; init; }

    /// <summary>File name or a short label, for messages.</summary>
    public string Name { get; init; } = "";

    /// <summary>Physical level at and above which a pixel is clipped, in ADU.</summary>
    public double SaturationAdu { get; init; } = double.NaN;

    /// <summary>Electrons for one ADU.</summary>
    public double GainElectronsPerAdu { get; init; } = double.NaN;

    /// <summary>Read noise, RMS electrons.</summary>
    public double ReadNoiseElectrons { get; init; } = double.NaN;

    /// <summary>Pixel pitch in micrometres (after binning).</summary>
    public double PitchUm { get; init; } = double.NaN;

    /// <summary>Exposure in seconds.</summary>
    public double ExposureS { get; init; } = double.NaN;

    /// <summary>Pixels along x.</summary>
    public int Width => Pixels.Width;

    /// <summary>Pixels along y.</summary>
    public int Height => Pixels.Height;

    /// <summary>Throws when the mask does not fit the pixels.</summary>
    public void RequireConsistent()
    {
        if (!Mask.IsEmpty && Mask.Length != (long)Width * Height)
        {
            throw new InputException("frame.mask-size",
                $"The mask of {Name} has {Mask.Length} pixels, the image {(long)Width * Height}. Make the mask from this very image.", "mask", Name);
        }
    }
}
