using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.RelativeIllumination;

/// <summary>One shadow of a round grain: what of the cone of light it meets, seen from each place, on a sloping ground. Lengths in pixels.</summary>
/// <remarks>A place of the sensor sees the grain somewhere in the aperture, a disc or a ring there; the share of it that the grain covers is the overlap
/// of circles. Where the grain is small against the cone the shadow is the aperture's own picture.</remarks>
internal sealed record DustShape(double X, double Y, double Radius, double Grain, double Depth, double Hole, double RadiusSigma, double DepthSigma)
{
    // Middle x and y, radius, that of the grain, depth, ground, its slopes.
    private const int Unknowns = 8;
    private const double Reach = 1.6, Outlying = 4, LeastGrain = 0.6, LargestGrain = 0.6, Told = 7, Misshaped = 0.12;

    // Blocks by which the first turns are fitted.
    private const int Enough = 700;

    // A fit that leaves this range about its first radius describes something else than what was seen there; the search offers all sizes.
    private const double Smallest = 0.6, Largest = 1.6;
    private const int Sectors = 8, LeastSectors = 4, Most = 6;

    // Neighboring blocks of a real flat are not independent, and shadows are not quite even: what must stand out counts for so much less (tuned on
    // drawn flats). Bars of a radius are the fit's own, which hold on those.
    private const double Together = 1.5;

    /// <summary>Whether it is the same shadow.</summary>
    public bool Like(DustShape other) => Math.Abs(Math.Log(Radius / other.Radius)) < 0.25
        && Math.Sqrt(Math.Pow(X - other.X, 2) + Math.Pow(Y - other.Y, 2)) < 0.35 * Math.Min(Radius, other.Radius);

    /// <summary>Fits a shadow from a first guess; null where it is none.</summary>
    public static DustShape? Fit(EvenedFlat flat, double x, double y, double radius, double hole)
    {
        double r = radius / flat.Side;
        double[] p = [flat.Block(x), flat.Block(y), r, Math.Max(1.2 * LeastGrain, 0.15 * r), 0.01, 1, 0, 0];
        double scatter = 0;
        Block[] kept = [];
        for (int turn = 0; turn < 3; turn++)
        {
            Block[] blocks = Around(flat, p, p[2]);
            if (blocks.Length < 60)
            {
                return null;
            }

            if (turn == 0)
            {
                p[5] = Robust.Median(blocks.Where(b => b.Away(p) > 1.15 * r).Select(b => b.Light));
                p[4] = 1 - (Robust.Median(blocks.Where(b => b.Away(p) < 0.85 * r && b.Away(p) > hole * r).Select(b => b.Light)) / p[5]);
                if (!(p[4] > 0))
                {
                    return null;
                }
            }

            double[] q = p;
            double before = Scatter(blocks, q, hole);

            // Where the first guess of the radius is wrong, the light departs by all of the depth, and just that has to move it.
            double allowed = turn == 0 ? double.PositiveInfinity : turn == 1 ? Math.Max(Outlying * before, 0.5 * q[4]) : Outlying * before;
            kept = [.. blocks.Where(b => Math.Abs(b.Light - Model(b, q, hole)) < allowed)];

            // The first turns only bring it near, which some of the blocks can.
            bool rough = turn < 2;
            Block[] of = rough && kept.Length > 2 * Enough ? [.. kept.Where((_, i) => i % (kept.Length / Enough) == 0)] : kept;
            DampedDescent.Run(ref p, null, v => Sensible(v, r) ? of.Sum(b => Math.Pow(b.Light - Model(b, v, hole), 2)) / (before * before)
                : double.PositiveInfinity, v => Equations(of, v, hole, before), rough ? 1e-4 : 1e-7, CancellationToken.None);
            double movedX = flat.Pixel(p[0]) - x, movedY = flat.Pixel(p[1]) - y;
            if (AtBound(p, r) || Math.Sqrt((movedX * movedX) + (movedY * movedY)) > radius)
            {
                // There every step is refused: the radius would be the bound's, however sure it looks.
                return null;
            }

            scatter = Scatter(blocks, p, hole);
        }

        Block[] last = Around(flat, p, p[2]);
        (Matrix<double> normal, _) = Equations(last, p, hole, scatter);
        if (PositiveDefinite.Inverse(normal, 0) is not { } covariance)
        {
            return null;
        }

        double radiusSigma = Together * Math.Sqrt(covariance[2, 2]), depthSigma = Together * Math.Sqrt(covariance[4, 4]);
        radiusSigma = Math.Max(radiusSigma, radiusSigma * EdgeScatter(last, p, hole) / scatter);
        if (!Settled(kept, p, hole, scatter, radiusSigma))
        {
            return null;
        }

        bool clear = p[4] > Told * depthSigma && Math.Abs(p[3]) < LargestGrain * p[2] && radiusSigma < 0.1 * p[2]
            && AllAround(last, p, hole) && HoleSeen(last, p, hole, scatter)
            && IsShaped(last, p, hole) && EdgeOfGrain(p, hole, Together * Math.Sqrt(covariance[3, 3]));
        return clear
            ? new DustShape(flat.Pixel(p[0]), flat.Pixel(p[1]), p[2] * flat.Side, Math.Abs(p[3]) * flat.Side, p[4], hole, radiusSigma / Together * flat.Side,
                depthSigma)
            : null;
    }

    /// <summary>Takes the shadow out of a flat.</summary>
    public void DivideOut(EvenedFlat flat)
    {
        double[] p = [flat.Block(X), flat.Block(Y), Radius / flat.Side, Grain / flat.Side, Depth, 1, 0, 0];
        double reach = p[2] + Width(p[3]) + 1;
        for (int j = Math.Max(0, (int)(p[1] - reach)); j <= Math.Min(flat.Rows - 1, (int)(p[1] + reach) + 1); j++)
        {
            for (int i = Math.Max(0, (int)(p[0] - reach)); i <= Math.Min(flat.Columns - 1, (int)(p[0] + reach) + 1); i++)
            {
                flat.Value[(j * flat.Columns) + i] /= (float)Model(new Block(i, j, 1), p, Hole);
            }
        }
    }

    /// <summary>Whether all of it lies within a frame.</summary>
    public bool Within(int width, int height) => X - Radius >= -0.5 && Y - Radius >= -0.5 && X + Radius <= width - 0.5 && Y + Radius <= height - 0.5;

    private static bool Sensible(double[] p, double r) => p[2] > Smallest * r && p[2] < Largest * r && Math.Abs(p[3]) < p[2] && p[4] is > 0 and < 1 && p[5] > 0;

    private static bool AtBound(double[] p, double r) =>
        p[2] < 1.03 * Smallest * r || p[2] > 0.97 * Largest * r || Math.Abs(p[3]) > 0.97 * p[2];

    /// <summary>Whether a free step would leave the radius where it is: a fit that stopped short of its least squares does not know it.</summary>
    private static bool Settled(Block[] blocks, double[] p, double hole, double scatter, double radiusSigma)
    {
        (Matrix<double> normal, Vector<double> gradient) = Equations(blocks, p, hole, scatter);
        return PositiveDefinite.Inverse(normal, 0) is { } inverse && Math.Abs((inverse * gradient)[2]) < radiusSigma;
    }

    /// <summary>What the light departs from the model by where the edge decides the radius; without the few largest, which are stars and hot pixels.</summary>
    private static double EdgeScatter(Block[] blocks, double[] p, double hole)
    {
        double[] squares = [.. blocks.Where(b => Math.Abs(b.Away(p) - p[2]) < Width(p[3]) + 1).Select(b => Math.Pow(b.Light - Model(b, p, hole), 2)).Order()];
        return squares.Length < 20 ? 0 : Math.Sqrt(squares.Take((int)(0.98 * squares.Length)).Average());
    }

    private static Block[] Around(EvenedFlat flat, double[] p, double radius)
    {
        var found = new List<Block>();
        double reach = Reach * radius;
        for (int j = Math.Max(0, (int)Math.Ceiling(p[1] - reach)); j <= Math.Min(flat.Rows - 1, (int)(p[1] + reach)); j++)
        {
            for (int i = Math.Max(0, (int)Math.Ceiling(p[0] - reach)); i <= Math.Min(flat.Columns - 1, (int)(p[0] + reach)); i++)
            {
                float v = flat.Value[(j * flat.Columns) + i];
                if (float.IsFinite(v) && new Block(i, j, v) is Block b && b.Away(p) < reach)
                {
                    found.Add(b);
                }
            }
        }

        return [.. found];
    }

    private static double Model(Block b, double[] p, double hole)
    {
        double away = b.Away(p), ground = p[5] + (p[6] * (b.X - p[0])) + (p[7] * (b.Y - p[1]));
        double grain = Width(p[3]);
        double covered = Circles.Overlap(grain, p[2], away) - (hole > 0 ? Circles.Overlap(grain, hole * p[2], away) : 0);
        return ground * (1 - (p[4] * covered / (Math.PI * grain * grain)));
    }

    /// <summary>Edges are as soft as a block at least. No bound: at one every step that would pass it is refused, and the radius stayed where it was.</summary>
    private static double Width(double grain) => Math.Sqrt((grain * grain) + (LeastGrain * LeastGrain));

    private static double Scatter(Block[] blocks, double[] p, double hole) =>
        Math.Max(1.4826 * Robust.Median(blocks.Select(b => Math.Abs(b.Light - Model(b, p, hole)))), 1e-7);

    private static (Matrix<double> Normal, Vector<double> Gradient) Equations(Block[] blocks, double[] p, double hole, double scatter)
    {
        double[] step = [1e-3, 1e-3, 1e-3, 1e-3, 1e-6, 1e-6, 1e-7, 1e-7];
        double[,] normal = new double[Unknowns, Unknowns];
        double[] gradient = new double[Unknowns], row = new double[Unknowns];
        double[][] up = [.. Enumerable.Range(0, Unknowns).Select(k => Moved(p, k, step[k]))];
        double[][] down = [.. Enumerable.Range(0, Unknowns).Select(k => Moved(p, k, -step[k]))];
        foreach (Block b in blocks)
        {
            double off = (Model(b, p, hole) - b.Light) / scatter;
            for (int k = 0; k < Unknowns; k++)
            {
                row[k] = (Model(b, up[k], hole) - Model(b, down[k], hole)) / (2 * step[k] * scatter);
                gradient[k] += row[k] * off;
                for (int m = 0; m <= k; m++)
                {
                    normal[k, m] += row[k] * row[m];
                }
            }
        }

        // A grain of no size changes nothing to first order.
        normal[3, 3] += 1e-6;
        for (int k = 0; k < Unknowns; k++)
        {
            for (int m = 0; m < k; m++)
            {
                normal[m, k] = normal[k, m];
            }
        }

        return (Matrix<double>.Build.DenseOfArray(normal), Vector<double>.Build.DenseOfArray(gradient));
    }

    private static double[] Moved(double[] p, int k, double by)
    {
        double[] q = [.. p];
        q[k] += by;
        return q;
    }

    /// <summary>A shadow is dark on all sides: an edge of the fall of light, a trail or a column are not.</summary>
    private static bool AllAround(Block[] blocks, double[] p, double hole)
    {
        (int there, int dark) = (0, 0);
        for (int s = 0; s < Sectors; s++)
        {
            Block[] of = [.. blocks.Where(b => (int)((Math.Atan2(b.Y - p[1], b.X - p[0]) + Math.PI) / (2 * Math.PI) * Sectors) % Sectors == s)];
            double[] inside = [.. of.Where(b => b.Away(p) < 0.9 * p[2] && b.Away(p) > Math.Max(0.3, 1.1 * hole) * p[2]).Select(b => b.Light)];
            double[] outside = [.. of.Where(b => b.Away(p) > 1.12 * p[2]).Select(b => b.Light)];
            double area = Math.PI * p[2] * p[2] / Sectors;
            if (inside.Length > 0.35 * area * (1 - (hole * hole)) && outside.Length > 0.35 * area)
            {
                there++;
                double taken = 1 - (inside.Average() / outside.Average());
                dark += taken > 0.45 * p[4] && taken < 1.8 * p[4] ? 1 : 0;
            }
        }

        // Where the frame cuts much of it off, all that is left has to be dark.
        return there >= LeastSectors && dark >= (there < Most ? there : there - 1);
    }

    /// <summary>Behind an obstruction the middle of a shadow is bright, wherever enough of it is seen to tell.</summary>
    private static bool HoleSeen(Block[] blocks, double[] p, double hole, double scatter)
    {
        double[] middle = [.. blocks.Where(b => b.Away(p) < (hole * p[2]) - Width(p[3])).Select(b => b.Light)];
        if (middle.Length < 5)
        {
            return true;
        }

        double taken = 1 - (middle.Average() / p[5]), sigma = Together * scatter / Math.Sqrt(middle.Length);
        return taken < (0.5 * p[4]) + (2 * sigma);
    }

    /// <summary>An opaque grain that takes so much is just so wide, and its shadow's edge as soft; a softer one would hide that the hole is missing.</summary>
    private static bool EdgeOfGrain(double[] p, double hole, double sigma) =>
        Math.Abs(p[3]) < (1.15 * p[2] * Math.Sqrt(p[4] * (1 - (hole * hole)))) + LeastGrain + Math.Min(2 * sigma, 0.1 * p[2]);

    /// <summary>Within a shadow the light departs from its model by little more than around it; a stain on the sensor has other edges and no hole.</summary>
    private static bool IsShaped(Block[] blocks, double[] p, double hole)
    {
        double[] Squares(Func<double, bool> where) => [.. blocks.Where(b => where(b.Away(p))).Select(b => Math.Pow(b.Light - Model(b, p, hole), 2)).Order()];
        double[] inside = Squares(a => a < p[2] + Width(p[3])), outside = Squares(a => a > 1.05 * (p[2] + Width(p[3])));
        if (inside.Length < 20 || outside.Length < 20)
        {
            return true;
        }

        // Without the few largest, which are stars and hot pixels.
        double Mean(double[] v) => v.Take((int)(0.98 * v.Length)).Average();
        double noise = Mean(outside), chance = 3 * noise * Math.Sqrt(2.0 / inside.Length);
        return Mean(inside) - noise < Math.Pow(Misshaped * p[4], 2) + chance;
    }

    private readonly record struct Block(double X, double Y, double Light)
    {
        public double Away(double[] p) => Math.Sqrt(((X - p[0]) * (X - p[0])) + ((Y - p[1]) * (Y - p[1])));
    }
}
