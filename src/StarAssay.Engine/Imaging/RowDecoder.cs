using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;

namespace StarAssay.Engine.Imaging;

/// <summary>
/// Turns stored pixels into physical values: value = BZERO + BSCALE x stored, BLANK becomes NaN.
/// </summary>
/// <remarks>
/// Every format gives the value rounded once to single precision, so that the same picture has the same bits however it is
/// stored. Up to 16 bits with BSCALE 1 and a whole BZERO, as cameras write them, single precision is exact and registers do it;
/// all else is computed in double precision. 32-bit floats of this machine's byte order without scaling need no work:
/// <see cref="TryView"/> shows them in place.
/// </remarks>
public sealed partial class RowDecoder
{
    private readonly RawPixels pixels;
    private readonly bool swap;
    private readonly bool exact;
    private readonly float zero;

    /// <summary>Makes a decoder; it holds no state and may be shared by threads.</summary>
    public RowDecoder(RawPixels pixels)
    {
        this.pixels = pixels;
        swap = pixels.BigEndian == BitConverter.IsLittleEndian && RawPixels.BytesPerPixel(pixels.Format) > 1;
        zero = (float)pixels.Zero;

        // Sums of whole numbers up to 2^24 are exact. Floats must not be moved at all.
        double largest = pixels.Format == PixelFormat.Float32 ? 0 : (1 << 24) - 65536;
        exact = pixels.Scale == 1 && Math.Abs(pixels.Zero) <= largest && pixels.Zero == Math.Round(pixels.Zero);
    }

    /// <summary>True when the stored bytes are the floats themselves.</summary>
    public bool IsPlain => pixels.Format == PixelFormat.Float32 && !swap && pixels.Scale == 1 && pixels.Zero == 0;

    /// <summary>Part of a row without a copy, when <see cref="IsPlain"/>.</summary>
    public bool TryView(int y, int x, int count, out ReadOnlySpan<float> row)
    {
        CheckRange(y, x, count);
        if (!IsPlain)
        {
            row = default;
            return false;
        }

        row = MemoryMarshal.Cast<byte, float>(pixels.Bytes.Span.Slice(checked((int)((((long)y * pixels.Width) + x) * sizeof(float))), count * sizeof(float)));
        return true;
    }

    /// <summary>Decodes part of a row.</summary>
    /// <param name="y">Row.</param>
    /// <param name="x">First pixel.</param>
    /// <param name="target">Receives as many pixels as it is long.</param>
    public void Decode(int y, int x, Span<float> target)
    {
        CheckRange(y, x, target.Length);
        int size = RawPixels.BytesPerPixel(pixels.Format);
        ReadOnlySpan<byte> source = pixels.Bytes.Span.Slice(checked((int)((((long)y * pixels.Width) + x) * size)), target.Length * size);
        if (IsPlain)
        {
            MemoryMarshal.Cast<byte, float>(source).CopyTo(target);
            return;
        }

        int done = exact && pixels.Blank is null && Vector128.IsHardwareAccelerated ? DecodeVectors(source, target) : 0;
        DecodeScalar(source[(done * size)..], target[done..]);
    }

    private void CheckRange(int y, int x, int count)
    {
        if ((uint)y >= (uint)pixels.Height || x < 0 || count < 0 || x + count > pixels.Width)
        {
            throw new ArgumentOutOfRangeException(nameof(count), $"Pixels {x}..{x + count} of row {y} lie outside {pixels.Width} x {pixels.Height}.");
        }
    }
}
