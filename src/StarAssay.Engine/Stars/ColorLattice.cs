using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>
/// The pixels of one color of a raw mosaic as a frame of their own, and the way back to the mosaic's pixels. Red and blue are every second
/// pixel of every second row; green ones stand like the black fields of a chessboard, which turned by 45 degrees are a square lattice whose
/// sides are 1.414 pixels. Each pixel covers only a part of its square of the lattice.
/// </summary>
internal sealed class ColorLattice
{
    // Place in the mosaic of the lattice's (u, v): x = a u - b v + X0, y = b u + a v + Y0.
    private readonly int a;
    private readonly int b;
    private readonly int x0;
    private readonly int y0;
    private readonly int width;
    private readonly int height;
    private readonly Frame mosaic;

    private ColorLattice(Frame mosaic, int a, int b, int x0, int y0, int width, int height)
    {
        (this.mosaic, this.a, this.b, this.x0, this.y0, this.width, this.height) = (mosaic, a, b, x0, y0, width, height);
        Side = Math.Sqrt((a * a) + (b * b));
    }

    /// <summary>Whether there is a mosaic at all.</summary>
    public bool IsMosaic => Side > 1;

    /// <summary>Side of the lattice's squares, pixels of the frame.</summary>
    public double Side { get; }

    /// <summary>Share of a square that the pixel in it covers; also its second moment over that of the whole square.</summary>
    public double Fill => 1 / (Side * Side);

    /// <summary>Turn from the lattice's axes to the frame's, degrees.</summary>
    public double TurnDeg => Math.Atan2(b, a) * 180 / Math.PI;

    /// <summary>Columns of the frame.</summary>
    public int FrameWidth => mosaic.Width;

    /// <summary>Rows of the frame.</summary>
    public int FrameHeight => mosaic.Height;

    /// <summary>The lattice that a request asks for.</summary>
    /// <exception cref="InputException">The mosaic is none of 2 x 2 pixels.</exception>
    public static ColorLattice Of(StarRequest request, Frame frame)
    {
        if (request.Mosaic.Length == 0)
        {
            return new ColorLattice(frame, 1, 0, 0, 0, frame.Width, frame.Height);
        }

        string pattern = request.Mosaic.ToUpperInvariant();
        if (!Bayer.IsPattern(pattern))
        {
            throw new InputException("stars.mosaic", $"'{request.Mosaic}' is no color mosaic of 2 x 2 pixels. Give RGGB, BGGR, GRBG or GBRG, counted from " +
                "the first stored row.", "mosaic", frame.Name);
        }

        int place = pattern.IndexOf(request.Color == MosaicColor.Red ? 'R' : request.Color == MosaicColor.Blue ? 'B' : 'G', StringComparison.Ordinal);
        if (request.Color != MosaicColor.Green)
        {
            return new ColorLattice(frame, 2, 0, place % 2, place / 2, (frame.Width - (place % 2) + 1) / 2, (frame.Height - (place / 2) + 1) / 2);
        }

        // x + y = 2 u + p, y - x = 2 v - c: p says which fields are green, c makes the smallest v zero.
        int p = place == 0 ? 0 : 1, c = frame.Width - 1 + ((frame.Width - 1 + p) % 2);
        return new ColorLattice(frame, 1, 1, (p + c) / 2, (p - c) / 2, ((frame.Width + frame.Height - 2 - p) / 2) + 1, ((frame.Height - 1 + c) / 2) + 1);
    }

    /// <summary>The color's pixels as a frame; NaN where the lattice leaves the mosaic.</summary>
    public Frame Frame(RunContext context)
    {
        if (!IsMosaic)
        {
            return mosaic;
        }

        float[] pixels = new float[width * height];
        Array.Fill(pixels, float.NaN);
        var reader = new FrameReader(mosaic);
        Sharing.For(mosaic.Height, context, () => new float[mosaic.Width], (y, row) =>
        {
            reader.Row(y, 0, row);
            for (int x = 0; x < row.Length; x++)
            {
                int u = (a * (x - x0)) + (b * (y - y0)), v = (a * (y - y0)) - (b * (x - x0)), square = (a * a) + (b * b);
                if (u % square == 0 && v % square == 0)
                {
                    pixels[(v / square * width) + (u / square)] = row[x];
                }
            }
        });
        return mosaic with { Pixels = RawPixels.FromFloats(pixels, width, height), Mask = default };
    }

    /// <summary>A place in the mosaic by its place in the lattice.</summary>
    public (double X, double Y) ToFrame(double u, double v) => ((a * u) - (b * v) + x0, (b * u) + (a * v) + y0);

    /// <summary>The other way.</summary>
    public (double U, double V) FromFrame(double x, double y) =>
        (((a * (x - x0)) + (b * (y - y0))) * Fill, ((a * (y - y0)) - (b * (x - x0))) * Fill);
}

/// <summary>Which pixels of a raw color mosaic are measured.</summary>
public enum MosaicColor
{
    /// <summary>Both green ones of each four.</summary>
    Green,

    /// <summary>The red ones.</summary>
    Red,

    /// <summary>The blue ones.</summary>
    Blue,
}
