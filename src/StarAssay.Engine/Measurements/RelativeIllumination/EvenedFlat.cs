using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.RelativeIllumination;

/// <summary>The mean of the flats in blocks of pixels, divided by a smooth field, and the same in coarser and coarser blocks.</summary>
internal sealed class EvenedFlat
{
    // A shadow is looked for in blocks of which it is ten or more wide; so many blocks across hold what a large frame shows of it.
    private const int MostAcross = 1500;

    private EvenedFlat(int side, int columns, int rows, float[] value) => (Side, Columns, Rows, Value) = (side, columns, rows, value);

    /// <summary>Side of a block, pixels; even, so that every block of a color mosaic holds its colors alike.</summary>
    public int Side { get; }

    /// <summary>Blocks along x.</summary>
    public int Columns { get; }

    /// <summary>Blocks along y.</summary>
    public int Rows { get; }

    /// <summary>Light over what is smooth, rows from the lowest y; NaN = unknown.</summary>
    public float[] Value { get; }

    /// <summary>Reads the flats.</summary>
    /// <param name="frames">Flats.</param>
    /// <param name="bias">Level without light, ADU.</param>
    /// <param name="smooth">What is divided out, at a place in pixels.</param>
    /// <param name="context">Threads.</param>
    public static EvenedFlat Of(IReadOnlyList<Frame> frames, double bias, Func<double, double, double> smooth, RunContext context)
    {
        int side = 2 * Math.Max(1, (frames[0].Width + (2 * MostAcross) - 1) / (2 * MostAcross));
        var flat = new EvenedFlat(side, frames[0].Width / side, frames[0].Height / side, new float[frames[0].Width / side * (frames[0].Height / side)]);
        foreach (Frame frame in frames)
        {
            flat.Add(new FrameReader(frame), bias, 1.0f / frames.Count, context);
        }

        Parallel.For(0, flat.Rows, context.Parallel, j =>
        {
            for (int i = 0; i < flat.Columns; i++)
            {
                flat.Value[(j * flat.Columns) + i] /= (float)smooth(flat.Pixel(i), flat.Pixel(j));
            }
        });
        return flat;
    }

    /// <summary>Place of a block's middle, pixels.</summary>
    public double Pixel(double block) => (block * Side) + ((Side - 1) / 2.0);

    /// <summary>Place in blocks of a pixel.</summary>
    public double Block(double pixel) => (pixel - ((Side - 1) / 2.0)) / Side;

    /// <summary>The same in blocks of twice the side.</summary>
    public EvenedFlat Coarser()
    {
        var next = new EvenedFlat(2 * Side, Columns / 2, Rows / 2, new float[Columns / 2 * (Rows / 2)]);
        for (int j = 0; j < next.Rows; j++)
        {
            for (int i = 0; i < next.Columns; i++)
            {
                int at = (2 * j * Columns) + (2 * i);
                next.Value[(j * next.Columns) + i] = (Value[at] + Value[at + 1] + Value[at + Columns] + Value[at + Columns + 1]) / 4;
            }
        }

        return next;
    }

    private void Add(FrameReader reader, double bias, float share, RunContext context)
    {
        float[] mean = new float[Value.Length];
        Parallel.For(0, Rows, context.Parallel, j =>
        {
            double[] pixels = reader.Region(0, j * Side, Columns * Side, Side);
            for (int i = 0; i < Columns; i++)
            {
                double sum = 0;
                for (int y = 0; y < Side; y++)
                {
                    for (int x = 0; x < Side; x++)
                    {
                        sum += pixels[(y * Columns * Side) + (i * Side) + x];
                    }
                }

                mean[(j * Columns) + i] = (float)((sum / (Side * Side)) - bias);
            }
        });
        float middle = (float)Robust.Median(mean.Where(float.IsFinite).Select(v => (double)v));
        for (int k = 0; k < mean.Length; k++)
        {
            Value[k] += share * mean[k] / middle;
        }
    }
}
