using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>Level, trend, and growth between refocusings of the logarithm of the widths.</summary>
internal sealed class NightCourse
{
    private readonly WanderingSeries series;
    private readonly double middle;

    private NightCourse(WanderingSeries series, double middle, double span, bool trend, bool growth, double meanGrowth)
    {
        (this.series, this.middle, Span, HasTrend, HasGrowth, MeanGrowth) = (series, middle, span, trend, growth, meanGrowth);
    }

    /// <summary>Hours from the first frame to the last.</summary>
    public double Span { get; }

    /// <summary>Whether a trend was fitted.</summary>
    public bool HasTrend { get; }

    /// <summary>Whether growth between refocusings was fitted.</summary>
    public bool HasGrowth { get; }

    /// <summary>Mean over the frames of the squared time since refocusing, in squared intervals.</summary>
    public double MeanGrowth { get; }

    /// <summary>Mean of the logarithm over the frames.</summary>
    public (double Value, double Sigma) Level => Part(0);

    /// <summary>Change an hour.</summary>
    public (double Value, double Sigma) Trend => HasTrend ? Part(1) : (double.NaN, double.NaN);

    /// <summary>What is added from one refocusing to the next.</summary>
    public (double Value, double Sigma) Growth => HasGrowth ? Part(series.Coefficients.Length - 1) : (double.NaN, double.NaN);

    /// <summary>Scatter about it.</summary>
    public double Scatter => series.Scatter;

    /// <summary>How many frames without correlation are as good.</summary>
    public double Independent => series.Independent;

    /// <summary>Fits.</summary>
    public static NightCourse Fit(double[] time, double[] logWidth, double[] noise, bool trend, FocusHistory focus)
    {
        int n = time.Length;
        double middle = time.Average();
        var columns = new List<double[]> { Enumerable.Repeat(1.0, n).ToArray() };
        if (trend)
        {
            columns.Add([.. time.Select(t => t - middle)]);
        }

        // A drift from best focus on is a blur that grows with time; small blurs add to the width by their square.
        bool growth = trend && focus.Refocused && focus.Interval > 0;
        double mean = 0;
        if (growth)
        {
            double[] squared = [.. focus.Since.Select(t => t * t / (focus.Interval * focus.Interval))];
            mean = squared.Average();
            columns.Add([.. squared.Select(s => s - mean)]);
        }

        return new NightCourse(WanderingSeries.Fit(time, logWidth, noise, [.. columns]), middle, time[^1] - time[0], trend, growth, mean);
    }

    /// <summary>Logarithm at a time, growth between refocusings at its mean.</summary>
    public (double Value, double Sigma) At(double time) => HasGrowth ? series.Of(1, time - middle, 0) : HasTrend ? series.Of(1, time - middle) : series.Of(1);

    private (double Value, double Sigma) Part(int k) => (series.Coefficients[k], Math.Sqrt(series.Covariance[k, k]));
}
