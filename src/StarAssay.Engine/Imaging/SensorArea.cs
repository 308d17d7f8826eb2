namespace StarAssay.Engine.Imaging;

/// <summary>Where things stand over a sensor: u to the right, v up, from its middle, 1 = half its diagonal.</summary>
/// <param name="Width">Columns.</param>
/// <param name="Height">Rows.</param>
internal readonly record struct SensorArea(int Width, int Height)
{
    /// <summary>Half the diagonal, pixels: where u and v are one.</summary>
    public double HalfDiagonal => 0.5 * Math.Sqrt(((double)Width * Width) + ((double)Height * Height));

    /// <summary>Column of the middle, the first pixel's own middle being 0.</summary>
    public double MiddleX => (Width - 1) / 2.0;

    /// <summary>Row of the middle.</summary>
    public double MiddleY => (Height - 1) / 2.0;

    /// <summary>Largest u.</summary>
    public double ReachU => Width / (2 * HalfDiagonal);

    /// <summary>Largest v.</summary>
    public double ReachV => Height / (2 * HalfDiagonal);

    /// <summary>The place of a column.</summary>
    public double U(double x) => (x - MiddleX) / HalfDiagonal;

    /// <summary>The place of a row.</summary>
    public double V(double y) => (y - MiddleY) / HalfDiagonal;
}
