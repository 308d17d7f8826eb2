using MathNet.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Shape of a lamp line along the dispersion: the slit's image, a box, blurred by a Gaussian and summed over each pixel.</summary>
/// <param name="Box">Width of the slit's image, columns.</param>
/// <param name="Sigma">Standard deviation of the blur, columns.</param>
internal sealed record LineShape(double Box, double Sigma)
{
    /// <summary>Full width at half maximum, about, columns.</summary>
    public double Width => Math.Sqrt((5.545177 * Sigma * Sigma) + (Box * Box * 0.75) + 0.6);

    /// <summary>Share of the line in the pixel at a distance from its middle.</summary>
    public double At(double distance) =>
        (Area(distance + 0.5 + (Box / 2)) - Area(distance + 0.5 - (Box / 2)) - Area(distance - 0.5 + (Box / 2)) + Area(distance - 0.5 - (Box / 2))) / Box;

    /// <summary>The shape that fits the strongest lines with room around them.</summary>
    public static LineShape Of(double[] v, IReadOnlyList<SpectrumPeak> peaks)
    {
        SpectrumPeak[] lone = [.. peaks.Where(p => peaks.All(q => q == p || Math.Abs(q.Column - p.Column) > 14 || q.Strength < 0.02 * p.Strength)).Take(8)];
        lone = lone.Length >= 2 ? lone : [.. peaks.Take(5)];
        LineShape best = new(1, 1);
        double least = double.MaxValue;
        foreach (double box in new[] { 0.5, 1, 2, 3, 4, 5.5, 7, 9, 12 })
        {
            foreach (double sigma in new[] { 0.4, 0.6, 0.8, 1, 1.25, 1.5, 2, 2.5, 3.2, 4 })
            {
                var shape = new LineShape(box, sigma);
                double[] miss = [.. lone.Select(p => Miss(v, shape, p.Column))];
                double score = miss.Order().Take((miss.Length + 1) / 2).Sum(); // unseen blends spoil some
                if (score < least)
                {
                    (least, best) = (score, shape);
                }
            }
        }

        return best;
    }

    /// <summary>Share of a line's light that a shape leaves, at its best place near a column.</summary>
    private static double Miss(double[] v, LineShape shape, double column)
    {
        int a = Math.Max(0, (int)(column - 9)), b = Math.Min(v.Length - 1, (int)(column + 10));
        double best = double.MaxValue;
        for (double off = -0.4; off <= 0.41; off += 0.2)
        {
            double mm = 0, mv = 0, vv = 0;
            for (int c = a; c <= b; c++)
            {
                double m = shape.At(c - column - off);
                mm += m * m;
                mv += m * v[c];
                vv += v[c] * v[c];
            }

            best = Math.Min(best, 1 - (mv * mv / Math.Max(mm * vv, 1e-300)));
        }

        return best;
    }

    private double Area(double t)
    {
        double z = t / Sigma;
        return z > 8 ? t : z < -8 ? 0 : (t * 0.5 * SpecialFunctions.Erfc(-z / Math.Sqrt(2))) + (Sigma * Math.Exp(-0.5 * z * z) / Math.Sqrt(2 * Math.PI));
    }
}
