using System.Numerics.Tensors;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging;

/// <summary>
/// Sky level and noise of a frame on a coarse mesh of cells, read between the cells' centers by interpolation.
/// </summary>
public sealed class BackgroundMesh
{
    private readonly float[] levels;
    private readonly float[] noises;
    private readonly int stride;

    /// <summary>Takes the cells' values and adds a border by straight continuation, so that reading needs no special cases.</summary>
    internal BackgroundMesh(int width, int height, int columns, int rows, ReadOnlySpan<float> level, ReadOnlySpan<float> noise, double samplesPerCell)
    {
        Width = width;
        Height = height;
        Columns = columns;
        Rows = rows;
        SamplesPerCell = samplesPerCell;
        stride = columns + (2 * Border);
        levels = Extend(level, columns, rows, keepPositive: false);
        noises = Extend(noise, columns, rows, keepPositive: true);
    }

    /// <summary>Pixels along x.</summary>
    public int Width { get; }

    /// <summary>Pixels along y.</summary>
    public int Height { get; }

    /// <summary>Cells along x.</summary>
    public int Columns { get; }

    /// <summary>Cells along y.</summary>
    public int Rows { get; }

    /// <summary>Usual number of pixels behind one cell's level.</summary>
    public double SamplesPerCell { get; }

    /// <summary>Least noise of any cell, ADU.</summary>
    public float LeastNoise => TensorPrimitives.Min<float>(noises);

    /// <summary>Level of the cell farthest from zero, without its sign, ADU.</summary>
    public float LargestLevel => MathF.Abs(TensorPrimitives.MaxMagnitude<float>(levels));

    private const int Border = 2;

    /// <summary>Level of one cell in ADU.</summary>
    public float Level(int column, int row) => levels[((row + Border) * stride) + column + Border];

    /// <summary>Noise of one cell, standard deviation of a pixel in ADU.</summary>
    public float Noise(int column, int row) => noises[((row + Border) * stride) + column + Border];

    /// <summary>Level, its slope and the noise at a pixel position.</summary>
    /// <remarks>Catmull-Rom cubic between cell centers: exact for a level that is quadratic in x and y.</remarks>
    public SkySample At(double x, double y)
    {
        (int i, double u) = Cell(x, Width, Columns);
        (int j, double v) = Cell(y, Height, Rows);
        Span<double> wx = stackalloc double[4];
        Span<double> dx = stackalloc double[4];
        Span<double> wy = stackalloc double[4];
        Span<double> dy = stackalloc double[4];
        Cubic(u, wx, dx);
        Cubic(v, wy, dy);
        double level = 0, slopeX = 0, slopeY = 0;
        int first = ((j + Border - 1) * stride) + i + Border - 1;
        for (int b = 0; b < 4; b++)
        {
            double sum = 0, sumX = 0;
            for (int a = 0; a < 4; a++)
            {
                float value = levels[first + a];
                sum += wx[a] * value;
                sumX += dx[a] * value;
            }

            level += wy[b] * sum;
            slopeX += wy[b] * sumX;
            slopeY += dy[b] * sum;
            first += stride;
        }

        int at = ((j + Border) * stride) + i + Border;
        double noise = ((1 - v) * (((1 - u) * noises[at]) + (u * noises[at + 1])))
            + (v * (((1 - u) * noises[at + stride]) + (u * noises[at + stride + 1])));
        return new SkySample(level, slopeX * Columns / Width, slopeY * Rows / Height, noise);
    }

    /// <summary>Fills a row with level + factor x noise, bilinear between cell centers.</summary>
    internal void FillRow(int y, float factor, Span<float> row) => FillLeast(y, y, factor, row);

    /// <summary>The same for several rows at once: the line that none of them is below, between the nodes' least values.</summary>
    /// <param name="first">First row.</param>
    /// <param name="last">Last row; no more than a cell's height away.</param>
    /// <param name="factor">How many times the noise.</param>
    /// <param name="row">Filled.</param>
    internal void FillLeast(int first, int last, float factor, Span<float> row)
    {
        float[] nodes = new float[Columns + 2];
        Nodes(first, factor, nodes, least: false);
        if (last > first)
        {
            Nodes(last, factor, nodes, least: true);
            if (Cell(last, Height, Rows).Cell is int above && above > Cell(first, Height, Rows).Cell)
            {
                // A row of cell centers lies between: the line may have a corner there.
                Nodes(((above + 0.5) * Height / Rows) - 0.5, factor, nodes, least: true);
            }
        }

        double pitch = (double)Width / Columns;
        int x = 0;
        for (int i = -1; i < Columns && x < row.Length; i++)
        {
            double center = ((i + 0.5) * pitch) - 0.5;
            int end = i == Columns - 1 ? row.Length : Math.Min(row.Length, (int)Math.Ceiling(center + pitch));
            float left = nodes[i + 1], slope = (nodes[i + 2] - left) / (float)pitch;
            if (end > x)
            {
                StraightLine.Fill(row[x..end], left + ((float)(x - center) * slope), slope);
                x = end;
            }
        }
    }

    /// <summary>Level + factor x noise at height y above each column of cell centers, the border's first and last included.</summary>
    private void Nodes(double y, float factor, Span<float> nodes, bool least)
    {
        (int j, double v) = Cell(y, Height, Rows);
        float part = (float)v, rest = 1 - part;
        int below = ((j + Border) * stride) + Border - 1;
        ReadOnlySpan<float> level = levels.AsSpan(below, nodes.Length), noise = noises.AsSpan(below, nodes.Length);
        ReadOnlySpan<float> levelAbove = levels.AsSpan(below + stride, nodes.Length), noiseAbove = noises.AsSpan(below + stride, nodes.Length);
        for (int i = 0; i < nodes.Length; i++)
        {
            float value = (rest * (level[i] + (factor * noise[i]))) + (part * (levelAbove[i] + (factor * noiseAbove[i])));
            nodes[i] = least ? MathF.Min(nodes[i], value) : value;
        }
    }

    private static (int Cell, double Fraction) Cell(double x, int size, int cells)
    {
        double at = ((x + 0.5) * cells / size) - 0.5;
        int i = Math.Clamp((int)Math.Floor(at), -1, cells - 1);
        return (i, Math.Clamp(at - i, 0, 1));
    }

    private static void Cubic(double t, Span<double> weight, Span<double> slope)
    {
        double t2 = t * t, t3 = t2 * t;
        weight[0] = (-0.5 * t3) + t2 - (0.5 * t);
        weight[1] = (1.5 * t3) - (2.5 * t2) + 1;
        weight[2] = (-1.5 * t3) + (2 * t2) + (0.5 * t);
        weight[3] = (0.5 * t3) - (0.5 * t2);
        slope[0] = (-1.5 * t2) + (2 * t) - 0.5;
        slope[1] = (4.5 * t2) - (5 * t);
        slope[2] = (-4.5 * t2) + (4 * t) + 0.5;
        slope[3] = (1.5 * t2) - t;
    }

    private static float[] Extend(ReadOnlySpan<float> cells, int columns, int rows, bool keepPositive)
    {
        int stride = columns + (2 * Border);
        float[] wide = new float[stride * (rows + (2 * Border))];
        for (int j = -Border; j < rows + Border; j++)
        {
            for (int i = -Border; i < columns + Border; i++)
            {
                int ci = Math.Clamp(i, 0, columns - 1), cj = Math.Clamp(j, 0, rows - 1);
                float edge = cells[(cj * columns) + ci];
                int mi = Math.Clamp((2 * ci) - i, 0, columns - 1), mj = Math.Clamp((2 * cj) - j, 0, rows - 1);
                float value = (2 * edge) - cells[(mj * columns) + mi];
                wide[((j + Border) * stride) + i + Border] = keepPositive ? edge : value;
            }
        }

        return wide;
    }
}

/// <summary>The sky at one place.</summary>
/// <param name="Level">ADU.</param>
/// <param name="SlopeX">ADU per pixel along x.</param>
/// <param name="SlopeY">ADU per pixel along y.</param>
/// <param name="Noise">Standard deviation of one pixel, ADU.</param>
public readonly record struct SkySample(double Level, double SlopeX, double SlopeY, double Noise);
