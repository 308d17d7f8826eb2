using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>Both discs of a star in electrons, their sky taken off as a plane, their neighbors masked.</summary>
internal static class StarCutout
{
    // Sky and masks begin so many pixels outside of a disc.
    private const double Room = 4;

    private const int Rounds = 3;

    /// <summary>Fills the pixels of a pair and the star's place in it.</summary>
    /// <param name="data">Filled.</param>
    /// <param name="readers">Of both frames.</param>
    /// <param name="fields">All stars of both frames.</param>
    /// <param name="star">The star.</param>
    /// <returns>The middle of its light in each window from the middle pixel (window/2), and its light, electrons.</returns>
    public static (double[] Dx, double[] Dy, double[] Electrons) Fill(PairData data, FrameReader[] readers, StarField[] fields, PairStar star)
    {
        int w = data.Window;
        double[] dx = new double[2], dy = new double[2], electrons = new double[2];
        for (int k = 0; k < 2; k++)
        {
            int x0 = (int)Math.Round(star.X[k]) - (w / 2), y0 = (int)Math.Round(star.Y[k]) - (w / 2);
            Frame frame = readers[k].Frame;
            double gain = frame.GainElectronsPerAdu > 0 ? frame.GainElectronsPerAdu : 1;
            double clip = fields[k].SaturationAdu > 0 ? fields[k].SaturationAdu : double.PositiveInfinity;
            double[] raw = readers[k].Region(x0, y0, w, w);
            float[] use = data.Use[k];
            for (int i = 0; i < raw.Length; i++)
            {
                use[i] = double.IsFinite(raw[i]) && raw[i] < clip ? 1 : 0;
            }

            MaskNeighbors(use, w, fields[k], star, k, x0, y0);
            (double level, double along, double up, double variance) = Sky(raw, use, w, star.X[k] - x0, star.Y[k] - y0, star.Diameter[k]);
            for (int i = 0; i < raw.Length; i++)
            {
                double value = raw[i] - level - (along * ((i % w) - (w / 2))) - (up * ((i / w) - (w / 2)));
                data.Electrons[k][i] = use[i] > 0 ? (float)(gain * value) : 0;
                electrons[k] += data.Electrons[k][i];
                data.BaseVariance[k][i] = (float)(gain * gain * Math.Max(variance, 1.0 / 12));
            }

            (double cx, double cy) = Middle(data.Electrons[k], w, star.X[k] - x0, star.Y[k] - y0, (0.65 * star.Diameter[k]) + Room);
            (dx[k], dy[k]) = (cx - (w / 2), cy - (w / 2));
            electrons[k] = Math.Max(electrons[k], 1);
        }

        return (dx, dy, electrons);
    }

    // Of the light round a place. Much coma makes one side of a disc so bright that the star was found pixels away from its middle.
    private static (double X, double Y) Middle(float[] electrons, int w, double x, double y, double reach)
    {
        for (int round = 0; round < Rounds; round++)
        {
            (double sum, double sx, double sy) = (0, 0, 0);
            for (int i = 0; i < electrons.Length; i++)
            {
                double px = i % w, py = i / w;
                if (Math.Pow(px - x, 2) + Math.Pow(py - y, 2) < reach * reach)
                {
                    (sum, sx, sy) = (sum + electrons[i], sx + (px * electrons[i]), sy + (py * electrons[i]));
                }
            }

            (double nx, double ny) = (sx / sum, sy / sum);
            if (!(sum > 0 && Math.Pow(nx - (w / 2), 2) + Math.Pow(ny - (w / 2), 2) < reach * reach))
            {
                return (x, y);
            }

            (x, y) = (nx, ny);
        }

        return (x, y);
    }

    private static void MaskNeighbors(float[] use, int w, StarField field, PairStar star, int k, int x0, int y0)
    {
        double reach = (star.Diameter[k] / 2) + Room;
        for (int s = 0; s < field.X.Length; s++)
        {
            double px = field.X[s] - x0, py = field.Y[s] - y0;
            double away = Math.Sqrt(Math.Pow(field.X[s] - star.X[k], 2) + Math.Pow(field.Y[s] - star.Y[k], 2));

            // What stands on the disc is the disc's own, or too faint to matter.
            if (away < star.Diameter[k] + Room || px < -reach || py < -reach || px > w + reach || py > w + reach)
            {
                continue;
            }

            for (int j = Math.Max(0, (int)(py - reach)); j <= Math.Min(w - 1, (int)(py + reach) + 1); j++)
            {
                for (int i = Math.Max(0, (int)(px - reach)); i <= Math.Min(w - 1, (int)(px + reach) + 1); i++)
                {
                    if (Math.Pow(i - px, 2) + Math.Pow(j - py, 2) < reach * reach)
                    {
                        use[(j * w) + i] = 0;
                    }
                }
            }
        }
    }

    /// <summary>Plane of the sky outside of the disc and its variance, after throwing out what stands out.</summary>
    private static (double Level, double Along, double Up, double Variance) Sky(double[] raw, float[] use, int w, double cx, double cy, double diameter)
    {
        double reach = (diameter / 2) + (2 * Room);
        int[] sky = new int[raw.Length];
        int all = 0;
        for (int i = 0; i < raw.Length; i++)
        {
            double dx = (i % w) - cx, dy = (i / w) - cy;
            if (use[i] > 0 && (dx * dx) + (dy * dy) > reach * reach)
            {
                sky[all++] = i;
            }
        }

        sky = sky[..all];
        if (sky.Length < 3 * w)
        {
            return (Robust.Median(raw.Where(double.IsFinite)), 0, 0, 1);
        }

        // The star's own wings are the same all round and leave the slopes alone.
        (double middle, double spread) = Robust.ClippedMeanAndSigma([.. sky.Select(i => raw[i])]);
        var p = Vector<double>.Build.Dense([middle, 0, 0]);
        double variance = spread * spread;
        for (int round = 0; round < Rounds; round++)
        {
            (double level, double along, double up, double limit) = (p[0], p[1], p[2], 9 * variance);
            (double sum, double n, double sx, double sy, double xx, double xy, double yy) = (0, 0, 0, 0, 0, 0, 0);
            (double v, double vx, double vy) = (0, 0, 0);
            foreach (int i in sky)
            {
                (double x, double y) = ((i % w) - (w / 2), (i / w) - (w / 2));
                double value = raw[i], rest = value - (level + (along * x) + (up * y));
                if (rest * rest > limit)
                {
                    continue;
                }

                sum += rest * rest;
                (n, sx, sy) = (n + 1, sx + x, sy + y);
                (xx, xy, yy) = (xx + (x * x), xy + (x * y), yy + (y * y));
                (v, vx, vy) = (v + value, vx + (value * x), vy + (value * y));
            }

            if (n < 3 * w)
            {
                break;
            }

            p = Matrix<double>.Build.DenseOfArray(new[,] { { n, sx, sy }, { sx, xx, xy }, { sy, xy, yy } }).Solve(Vector<double>.Build.Dense([v, vx, vy]));

            // A normal distribution cut at three deviations has 0.973 of its variance.
            variance = sum / n / 0.973;
        }

        return (p[0], p[1], p[2], variance);
    }
}
