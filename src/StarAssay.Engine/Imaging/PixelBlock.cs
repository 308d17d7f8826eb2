namespace StarAssay.Engine.Imaging;

/// <summary>Rows of pixels in memory that holds still, for kernels.</summary>
/// <param name="first">First pixel of the first row.</param>
/// <param name="pitch">Pixels from a row to the next one that is read.</param>
/// <param name="rows">How many rows.</param>
/// <param name="width">Pixels of a row.</param>
internal readonly unsafe struct PixelBlock(byte* first, nint pitch, int rows, int width)
{
    /// <summary>First pixel of the first row.</summary>
    public readonly byte* First = first;

    /// <summary>Pixels from a row to the next one that is read.</summary>
    public readonly nint Pitch = pitch;

    /// <summary>How many rows.</summary>
    public readonly int Rows = rows;

    /// <summary>Pixels of a row.</summary>
    public readonly int Width = width;

    /// <summary>How many pixels.</summary>
    public int Count => Rows * Width;
}
