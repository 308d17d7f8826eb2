using MathNet.Numerics.Integration;

namespace StarAssay.Engine.Optics;

/// <summary>
/// Zernike polynomials of an annulus: orthonormal over the ring between the obstruction and the edge (Mahajan,
/// J. Opt. Soc. Am. 71, 75 (1981)). With no obstruction they are the circle polynomials.
/// </summary>
/// <remarks>With u = rho^2 the radial part of frequency m is rho^m times the k-th polynomial that is orthogonal on
/// [e^2, 1] under the weight u^m. The recurrence of that family is found by Stieltjes' procedure with a Gauss-Legendre
/// rule that is exact for every degree used, so no table of closed forms is needed.</remarks>
public sealed class ZernikeAnnulus
{
    private readonly double[][] shift;
    private readonly double[][] squared;
    private readonly double[][] norm;

    /// <summary>Prepares the family.</summary>
    /// <param name="obstruction">Ratio of diameters, 0 (clear) to below 1.</param>
    /// <param name="maxOrder">Highest radial order n to be asked for.</param>
    public ZernikeAnnulus(double obstruction, int maxOrder)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(obstruction);
        ArgumentOutOfRangeException.ThrowIfGreaterThanOrEqual(obstruction, 1);
        ArgumentOutOfRangeException.ThrowIfNegative(maxOrder);
        Obstruction = obstruction;
        MaxOrder = maxOrder;
        shift = new double[maxOrder + 1][];
        squared = new double[maxOrder + 1][];
        norm = new double[maxOrder + 1][];
        double low = obstruction * obstruction;
        var rule = new GaussLegendreRule(low, 1, Math.Max(8, maxOrder + 2));
        for (int m = 0; m <= maxOrder; m++)
        {
            Stieltjes(rule, m, (maxOrder - m) / 2, 1 - low);
        }
    }

    /// <summary>Ratio of the obstruction's diameter to the pupil's.</summary>
    public double Obstruction { get; }

    /// <summary>Highest radial order that was prepared.</summary>
    internal int MaxOrder { get; }

    /// <summary>Value of one polynomial; the mean of its square over the ring is 1.</summary>
    public double Evaluate(ZernikeIndex index, double x, double y)
    {
        ArgumentOutOfRangeException.ThrowIfGreaterThan(index.N, MaxOrder, nameof(index));
        int m = index.Frequency;
        int k = (index.N - m) / 2;
        double u = (x * x) + (y * y);
        double before = 0;
        double now = 1;
        for (int i = 0; i < k; i++)
        {
            (before, now) = (now, ((u - shift[m][i]) * now) - (squared[m][i] * before));
        }

        double trig = m == 0 ? 1 : Math.Sqrt(2);
        return now / norm[m][k] * trig * Zernike.Angular(index.M, x, y);
    }

    /// <summary>The same step by step, for single precision: each member has the norm that it will have in the end, so that high orders neither grow nor
    /// vanish.</summary>
    internal ZernikeRecurrence Recurrence(int m)
    {
        int top = norm[m].Length;
        float[] slope = new float[top], move = new float[top], back = new float[top];
        for (int k = 0; k < top - 1; k++)
        {
            double next = norm[m][k + 1];
            slope[k] = (float)(norm[m][k] / next);
            move[k] = (float)(-shift[m][k] * norm[m][k] / next);
            back[k] = k == 0 ? 0 : (float)(squared[m][k] * norm[m][k - 1] / next);
        }

        return new ZernikeRecurrence((float)((m == 0 ? 1 : Math.Sqrt(2)) / norm[m][0]), slope, move, back);
    }

    private void Stieltjes(GaussLegendreRule rule, int m, int top, double area)
    {
        int points = rule.Order;
        double[] u = [.. Enumerable.Range(0, points).Select(rule.GetAbscissa)];
        double[] weight = [.. Enumerable.Range(0, points).Select(i => rule.GetWeight(i) * Math.Pow(u[i], m) / area)];
        double[] before = new double[points];
        double[] now = [.. Enumerable.Repeat(1.0, points)];
        shift[m] = new double[top + 1];
        squared[m] = new double[top + 1];
        norm[m] = new double[top + 1];
        double last = 1;
        for (int k = 0; k <= top; k++)
        {
            double size = 0;
            double mean = 0;
            for (int i = 0; i < points; i++)
            {
                double square = weight[i] * now[i] * now[i];
                size += square;
                mean += square * u[i];
            }

            norm[m][k] = Math.Sqrt(size);
            shift[m][k] = mean / size;
            squared[m][k] = k == 0 ? 0 : size / last;
            last = size;
            for (int i = 0; i < points; i++)
            {
                (before[i], now[i]) = (now[i], ((u[i] - shift[m][k]) * now[i]) - (squared[m][k] * before[i]));
            }
        }
    }
}
