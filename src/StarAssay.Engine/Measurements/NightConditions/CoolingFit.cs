using MathNet.Numerics.Distributions;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>How focus moves through the night: a straight line, and an exponential where the places tell one.</summary>
/// <remarks>Newton's law of cooling: a tube that cools towards the air shrinks as exp(-t / tau).</remarks>
internal sealed class CoolingFit
{
    // An exponential has to be better than a line at this level of an F test, and its tau within limits on both sides.
    private const double Sure = 0.99, Bounded = 0.95, OneSigma = 0.6827;
    private const int Steps = 241;

    private CoolingFit()
    {
    }

    /// <summary>Change for each unit of what it is fitted against, and its standard uncertainty; NaN from fewer than three places.</summary>
    public (double Value, double Sigma) Slope { get; private init; } = (double.NaN, double.NaN);

    /// <summary>Time constant; NaN where it is not decided.</summary>
    public (double Value, double Sigma) Tau { get; private init; } = (double.NaN, double.NaN);

    /// <summary>Where focus comes to rest; NaN where it is not decided.</summary>
    public (double Value, double Sigma) Rest { get; private init; } = (double.NaN, double.NaN);

    /// <summary>Fits places against time or temperature.</summary>
    /// <param name="x">Time or temperature.</param>
    /// <param name="place">Best focus.</param>
    /// <param name="sigma">Standard uncertainty of each; NaN or 0: not known, all alike.</param>
    /// <param name="exponential">Whether an exponential is tried.</param>
    public static CoolingFit Of(double[] x, double[] place, double[] sigma, bool exponential)
    {
        int n = x.Length;
        if (n < 3 || x.Distinct().Count() < 3)
        {
            return new CoolingFit();
        }

        bool known = sigma.All(s => s > 0);
        double[] weight = [.. sigma.Select(s => known ? 1 / (s * s) : 1)];
        Line line = Straight(x, place, weight);

        // Known uncertainties are a floor: places scatter by what they do not hold too.
        double scale = line.Squares / (n - 2);
        scale = known ? Math.Max(1, scale) : scale;
        bool scattered = !known || scale > 1;
        double student = scattered ? Student(n - 2) : 1;
        (double, double) slope = (line.Slope, student * Math.Sqrt(scale / line.Sxx));
        if (!exponential || n < 6)
        {
            return new CoolingFit { Slope = slope };
        }

        double low = x.Min(), span = x.Max() - low;
        var tried = new (double Tau, Line Fit)[Steps];
        for (int k = 0; k < Steps; k++)
        {
            double tau = span * 0.03 * Math.Pow(1000, k / (Steps - 1.0));
            tried[k] = (tau, Straight([.. x.Select(v => Math.Exp((low - v) / tau))], place, weight));
        }

        (double bestTau, Line best) = tried.MinBy(t => t.Fit.Squares);
        double freedom = n - 3, unit = best.Squares / freedom;
        unit = known ? Math.Max(1, unit) : unit;
        (double From, double To) Within(double level)
        {
            double limit = best.Squares + (unit * FisherSnedecor.InvCDF(1, freedom, level));
            double[] inside = [.. tried.Where(t => t.Fit.Squares <= limit).Select(t => t.Tau)];
            return (inside.Min(), inside.Max());
        }

        (double from, double to) = Within(Bounded);
        bool decided = (line.Squares - best.Squares) / unit > FisherSnedecor.InvCDF(1, freedom, Sure)
            && from > 1.5 * tried[0].Tau && to < 3 * span;
        if (!decided)
        {
            return new CoolingFit { Slope = slope };
        }

        (from, to) = Within(OneSigma);
        (double FitFrom, double FitTo) Rests() => (Straight([.. x.Select(v => Math.Exp((low - v) / from))], place, weight).Start,
            Straight([.. x.Select(v => Math.Exp((low - v) / to))], place, weight).Start);
        (double restFrom, double restTo) = Rests();
        double own = Student(n - 3) * Math.Sqrt(unit * best.StartVariance);
        return new CoolingFit
        {
            Slope = slope,
            Tau = (bestTau, (to - from) / 2),
            Rest = (best.Start, double.Hypot(own, (restTo - restFrom) / 2)),
        };
    }

    /// <summary>What a standard uncertainty from few degrees of freedom is widened by so that it holds 68.27 %.</summary>
    public static double Student(double freedom) => StudentT.InvCDF(0, 1, freedom, 0.5 + (OneSigma / 2));

    private static Line Straight(double[] x, double[] y, double[] weight)
    {
        double sum = weight.Sum(), mx = x.Zip(weight, (v, w) => v * w).Sum() / sum, my = y.Zip(weight, (v, w) => v * w).Sum() / sum;
        (double sxx, double sxy, double squares) = (0, 0, 0);
        for (int i = 0; i < x.Length; i++)
        {
            sxx += weight[i] * (x[i] - mx) * (x[i] - mx);
            sxy += weight[i] * (x[i] - mx) * (y[i] - my);
        }

        double slope = sxy / sxx;
        for (int i = 0; i < x.Length; i++)
        {
            double left = y[i] - my - (slope * (x[i] - mx));
            squares += weight[i] * left * left;
        }

        return new Line(my - (slope * mx), slope, sxx, squares, (1 / sum) + (mx * mx / sxx));
    }

    private sealed record Line(double Start, double Slope, double Sxx, double Squares, double StartVariance);
}
