namespace StarAssay.Engine.Stars;

/// <summary>
/// A square cut-out round one star with the sky subtracted, in rows padded to whole registers. One per worker, reused.
/// </summary>
internal sealed class Stamp
{
    /// <summary>Registers of this many floats fit a row exactly, whatever the processor's width.</summary>
    public const int Step = 16;

    /// <summary>Makes a stamp of (2 half + 1) pixels a side.</summary>
    public Stamp(int half)
    {
        Half = half;
        Side = (2 * half) + 1;
        Stride = ((Side + Step - 1) / Step * Step) + Step;
        Pixels = new float[Stride * Side];
        Bad = new bool[Side * Side];
    }

    /// <summary>Pixels from the middle to the rim.</summary>
    public int Half { get; }

    /// <summary>Pixels along one side.</summary>
    public int Side { get; }

    /// <summary>Floats from one row to the next.</summary>
    public int Stride { get; }

    /// <summary>Sky-subtracted pixels in ADU; what lies outside the frame or is bad is 0, and so is the padding.</summary>
    public float[] Pixels { get; }

    /// <summary>Pixels that hold no light of this star: masked, missing, outside, or another star's. Row by row, no padding.</summary>
    public bool[] Bad { get; }

    /// <summary>Whether any pixel is bad.</summary>
    public bool AnyBad { get; set; }

    /// <summary>Frame column of the stamp's column 0.</summary>
    public int X0 { get; set; }

    /// <summary>Frame row of the stamp's row 0.</summary>
    public int Y0 { get; set; }

    /// <summary>A pixel by stamp position.</summary>
    public float this[int x, int y] => Pixels[(y * Stride) + x];
}
