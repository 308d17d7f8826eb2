using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Holds the scatter of single pairs against what their random parts promise, mode by mode: what all pairs share cannot show in it.</summary>
internal static class PairScatter
{
    /// <summary>Widens the random part of every mode that scatters by more than it says; true when there was one.</summary>
    public static bool Widen(UncertaintyParts parts, PairAlone[] alone, List<Note> notes)
    {
        int n = alone.Length;
        if (n < 2)
        {
            return false;
        }

        int count = parts.Coefficients.Length;
        double[] seen = [.. Enumerable.Range(0, count).Select(j => SquaredStandardError([.. alone.Select(a => a.CoefficientNm[j])]))];
        double[] mean = [.. Enumerable.Range(0, count).Select(j => alone.Average(a => a.CoefficientNm[j]))];
        double map = alone.Sum(a => Math.Pow(parts.Surface.Rms([.. a.CoefficientNm.Select((v, j) => v - mean[j])]), 2)) / (n - 1) / n;
        double said = (parts.Surface.GramMatrix * parts.Random).Trace();
        Matrix<double> more = Excess(parts.Random, seen);
        bool widened = more.Trace() > 0;
        if (widened)
        {
            parts.AddRandom("scatter of the pairs, beyond the lines above", "A",
                $"{n} pairs: the map of their mean scatters by {Math.Sqrt(map):F2} nm, {Math.Sqrt(said):F2} nm by the random lines", more);
        }

        if (map > 2 * said)
        {
            notes.Add(WavefrontNotes.PairsScatter.Say(
                $"The mean of {n} pairs scatters by {Math.Sqrt(map):F2} nm RMS, {Math.Sqrt(said):F2} nm were expected; the bars have been widened."));
        }

        return widened;
    }

    /// <summary>Squared standard error of the mean of some values (JCGM 100, 4.2.3).</summary>
    internal static double SquaredStandardError(double[] values)
    {
        double mean = values.Average();
        return values.Sum(v => (v - mean) * (v - mean)) / (values.Length - 1) / values.Length;
    }

    /// <summary>What to add to a covariance so that no mode's variance stays below the one seen; correlations are kept.</summary>
    internal static Matrix<double> Excess(Matrix<double> random, double[] seen)
    {
        double[] factor = [.. seen.Select((v, j) => random[j, j] > 0 ? Math.Sqrt(Math.Max(1, v / random[j, j])) : 1)];
        Matrix<double> more = random.MapIndexed((i, j, v) => v * ((factor[i] * factor[j]) - 1), Zeros.AllowSkip);
        for (int j = 0; j < seen.Length; j++)
        {
            more[j, j] = random[j, j] > 0 ? Math.Max(0, seen[j] - random[j, j]) : seen[j];
        }

        return more;
    }
}
