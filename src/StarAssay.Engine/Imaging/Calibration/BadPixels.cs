using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging.Calibration;

/// <summary>Asks for a bad-pixel mask.</summary>
public sealed record BadPixelRequest
{
    /// <summary>A pixel of the dark this many standard deviations above its neighborhood is hot.</summary>
    public double HotSigma { get; init; } = 8;

    /// <summary>A pixel of the flat below this share of its neighborhood is dead; above 2 minus this it is too sensitive.</summary>
    public double DeadShare { get; init; } = 0.5;
}

/// <summary>Pixels not to use.</summary>
/// <param name="Mask">True = bad, [y, x].</param>
/// <param name="HotCount">From the dark.</param>
/// <param name="DeadCount">From the flat.</param>
public sealed record BadPixelMask(bool[,] Mask, int HotCount, int DeadCount);

/// <summary>Finds hot pixels in a master dark, dead and oversensitive ones in a master flat.</summary>
/// <remarks>Each is compared with the median of its 5 x 5 neighborhood, so that glow and vignetting do not matter
/// (common practice, no source).</remarks>
public static class BadPixels
{
    /// <summary>Finds them.</summary>
    public static BadPixelMask Find(Frame? dark, Frame? flat, BadPixelRequest request, RunContext context)
    {
        Frame any = dark ?? flat ?? throw new InputException("calibration.bad-pixels", "Neither a dark nor a flat was given. Give at least one.", "dark");
        if (dark is not null && flat is not null)
        {
            SameSize.Require(dark, flat);
        }

        InputException.RequireRange(request.HotSigma, 3, 1000, "hot_sigma", "standard deviations");
        InputException.RequireRange(request.DeadShare, 0, 0.95, "dead_share", "of the neighborhood");
        var mask = new bool[any.Height, any.Width];
        int hot = 0, dead = 0;
        if (dark is not null)
        {
            FloatImage image = FloatImage.From(dark, context);
            FloatImage excess = MedianFilter.Subtract(image, MedianFilter.Apply(image, 2, context));
            float[] finite = [.. excess.Pixels.Where(float.IsFinite)];
            double center = Rank.Median(finite);
            double limit = request.HotSigma * Rank.MadSigma(finite, center);
            hot = Mark(excess, v => !(v - center <= limit), mask);
        }

        if (flat is not null)
        {
            FloatImage image = FloatImage.From(flat, context);
            FloatImage near = MedianFilter.Apply(image, 2, context);
            for (int i = 0; i < image.Pixels.Length; i++)
            {
                image.Pixels[i] /= near.Pixels[i];
            }

            dead = Mark(image, v => !(v >= request.DeadShare && v <= 2 - request.DeadShare), mask);
        }

        return new BadPixelMask(mask, hot, dead);
    }

    private static int Mark(FloatImage image, Func<float, bool> isBad, bool[,] mask)
    {
        int count = 0;
        for (int i = 0; i < image.Pixels.Length; i++)
        {
            if (isBad(image.Pixels[i]))
            {
                mask[i / image.Width, i % image.Width] = true;
                count++;
            }
        }

        return count;
    }
}
