using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging;

/// <summary>Asks for the color planes of a raw mosaic.</summary>
public sealed record BayerRequest
{
    /// <summary>Colors at [0,0], [0,1], [1,0], [1,1], for example "RGGB".</summary>
    public required string Pattern { get; init; }

    /// <summary>Take the pattern as given even where the pixels contradict it.</summary>
    public bool TrustPattern { get; init; }
}

/// <summary>One color plane: every second pixel of every second row, as stored.</summary>
/// <param name="Color">"R", "G1" (the green in the red rows), "G2" or "B".</param>
/// <param name="OffsetX">Column of its first pixel in the mosaic.</param>
/// <param name="OffsetY">Row of its first pixel.</param>
/// <param name="Width">Pixels along x.</param>
/// <param name="Height">Pixels along y.</param>
/// <param name="Bytes">Stored pixels, in the mosaic's own encoding and byte order.</param>
public sealed record ColorPlane(string Color, int OffsetX, int OffsetY, int Width, int Height, byte[] Bytes);

/// <summary>The four planes of a mosaic. Pixel (i, j) of a plane lies at (2 i + OffsetX, 2 j + OffsetY) of the mosaic.</summary>
/// <param name="Pattern">The pattern used.</param>
/// <param name="Planes">R, G1, G2, B.</param>
/// <param name="Evidence">What the pixels say of the pattern.</param>
/// <param name="Notes">Doubts about it.</param>
public sealed record BayerPlanes(string Pattern, IReadOnlyList<ColorPlane> Planes, MosaicEvidence Evidence, IReadOnlyList<Note> Notes);

/// <summary>Splits raw color mosaics.</summary>
public static class Bayer
{
    private static readonly string[] Patterns = ["RGGB", "BGGR", "GRBG", "GBRG"];

    /// <summary>Whether a word names a mosaic of 2 x 2 pixels.</summary>
    internal static bool IsPattern(string pattern) => Patterns.Contains(pattern);

    /// <summary>Splits a mosaic into its planes; a pattern that the pixels contradict is turned over.</summary>
    public static BayerPlanes Split(Frame mosaic, BayerRequest request, RunContext context)
    {
        string pattern = request.Pattern.ToUpperInvariant();
        if (!Patterns.Contains(pattern))
        {
            throw new InputException("bayer.pattern",
                $"'{request.Pattern}' is no color mosaic of 2 x 2 pixels. Give RGGB, BGGR, GRBG or GBRG, counted from the first stored row.", "pattern",
                    mosaic.Name);
        }

        if (mosaic.Width < 2 || mosaic.Height < 2)
        {
            throw new InputException("bayer.size", $"{mosaic.Name} is too small for a color mosaic ({mosaic.Width} x {mosaic.Height}).", "frame", mosaic.Name);
        }

        context.Cancel.ThrowIfCancellationRequested();
        MosaicEvidence evidence = MosaicDetector.Detect(new FrameReader(mosaic), context);
        (string used, IReadOnlyList<Note> notes) = Judge(pattern, evidence, mosaic.Name, request.TrustPattern);
        string[] names = ["R", "G1", "G2", "B"];
        int red = used.IndexOf('R', StringComparison.Ordinal);
        int[] places = [red, red ^ 1, red ^ 2, red ^ 3];
        return new BayerPlanes(used, [.. names.Zip(places, (name, place) => Plane(mosaic.Pixels, name, place % 2, place / 2))], evidence, notes);
    }

    /// <summary>Says whether the pixels agree with a pattern, and which pattern to use.</summary>
    /// <remarks>Where they disagree, the rows are turned over: a sensor read from the top, stored from the bottom, is by
    /// far the most frequent reason (common practice, no source). One column cut off looks the same to the greens, but
    /// exchanges red and blue; the note says so.</remarks>
    public static (string Pattern, IReadOnlyList<Note> Notes) Judge(string pattern, MosaicEvidence evidence, string name, bool trustPattern)
    {
        bool main = pattern[0] == 'G';
        switch (evidence.Greens)
        {
            case MosaicGreens.MainDiagonal or MosaicGreens.AntiDiagonal when main == (evidence.Greens == MosaicGreens.MainDiagonal):
                return (pattern, []);
            case MosaicGreens.MainDiagonal or MosaicGreens.AntiDiagonal:
                string turned = pattern[2..] + pattern[..2];
                (string seen, double same, double other) = main
                    ? ("[0,1] and [1,0]", evidence.AntiDifference, evidence.MainDifference)
                    : ("[0,0] and [1,1]", evidence.MainDifference, evidence.AntiDifference);
                string mirrored = string.Concat(pattern[1], pattern[0], pattern[3], pattern[2]);
                return (trustPattern ? pattern : turned,
                    [FrameNotes.BayerContradicts.Say(
                        $"The mosaic is stated as {pattern}, but the pixels at {seen} agree (difference {same:F1} ADU) while the other two differ by " +
                            $"{Math.Abs(other):F1} ADU: the greens lie there. " +
                        (trustPattern ? "The stated pattern was used as asked."
                            : $"{turned} (rows turned over) was used; if a column was cut off it would be {mirrored}, with red and blue exchanged. Give " +
                            "bayer=... to settle it."), name)]);
            default:
                return (pattern, [FrameNotes.BayerUnchecked.Say($"The pixels do not show where the greens of {pattern} lie; the pattern was used as stated.",
                    name)]);
        }
    }

    /// <summary>A note when pixels without a stated mosaic look like one.</summary>
    public static IReadOnlyList<Note> Unmentioned(MosaicEvidence evidence, string name) =>
        evidence.Greens is MosaicGreens.MainDiagonal or MosaicGreens.AntiDiagonal
            ? [FrameNotes.LooksMosaic.Say("Pixels on one diagonal of each 2 x 2 cell agree, on the other they differ by " +
                $"{Math.Max(Math.Abs(evidence.MainDifference), Math.Abs(evidence.AntiDifference)):F1} ADU, as behind a color mosaic. Split it with " +
                "split_bayer and a pattern before measuring stars.", name)]
            : [];

    private static ColorPlane Plane(RawPixels pixels, string name, int dx, int dy)
    {
        int size = RawPixels.BytesPerPixel(pixels.Format);
        int width = (pixels.Width - dx + 1) / 2, height = (pixels.Height - dy + 1) / 2;
        byte[] plane = new byte[checked(width * height * size)];
        ReadOnlySpan<byte> all = pixels.Bytes.Span;
        for (int y = 0; y < height; y++)
        {
            ReadOnlySpan<byte> row = all.Slice(checked((int)((((long)((2 * y) + dy) * pixels.Width) + dx) * size)));
            Span<byte> target = plane.AsSpan(y * width * size, width * size);
            for (int x = 0; x < width; x++)
            {
                row.Slice(2 * x * size, size).CopyTo(target.Slice(x * size, size));
            }
        }

        return new ColorPlane(name, dx, dy, width, height, plane);
    }
}
