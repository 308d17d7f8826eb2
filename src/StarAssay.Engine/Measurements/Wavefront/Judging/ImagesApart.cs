using System.Globalization;
using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// Whether both images of a pair show one wavefront. A fit takes that for granted, and gives the mean of two that differ with the bars of one: a tube
/// that cooled between them, a pointing that moved the mirror, frames of two nights. A tilted sensor shows the same and does no harm: inside and outside
/// cancel. It is one of those that follow.
/// </summary>
/// <param name="Information">J^T W J of the differences, nm^-2, all else following as far as it is not known, before misfit is counted.</param>
/// <param name="Side">The same times the differences, nm^-1.</param>
internal sealed record ImagesApart(Matrix<double> Information, Vector<double> Side)
{
    /// <summary>Astigmatism, coma, trefoil and the first spherical aberration: what cooling, gravity and screws change.</summary>
    public static readonly int Modes = FitModes.CountUpTo(11);

    // Sum of squares over bars from which it is no chance: seven modes reach 30 in one of ten thousand. Where images do show one wavefront it was
    // below 13 in fifty pairs of the tuning populations, tilted sensors among them, and where they do not above 110 in nine.
    private const double NoChance = 30;

    // Half of the difference is what the mean is off from either image; below this share of the map's bar it does no harm.
    private const double Harmless = 0.5;

    // A telescope that is focused by moving a mirror changes its spherical aberration from one side to the other, and its mean is right, nm (a judgment,
    // no source).
    private const double ByFocusing = 4;

    private const int Spherical = 11;

    /// <summary>Takes them from the normal equations of a fit.</summary>
    /// <param name="whole">Inverse of the first rows, all but the differences, with what is known of them.</param>
    /// <param name="equations">J^T W J of all.</param>
    /// <param name="sides">J^T W (data - model) of all.</param>
    /// <param name="gradient">The first rows' part of it, with what is known of them.</param>
    public static ImagesApart From(Matrix<double> whole, Matrix<double> equations, Vector<double> sides, Vector<double> gradient)
    {
        (Matrix<double> normal, Vector<double> side, _) = BesideChanges.Eliminated(whole, equations, sides, gradient);
        return new ImagesApart(normal, side);
    }

    /// <summary>Adds a doubt where the images do not show one wavefront and were not found to be turned against each other, which explains it.</summary>
    public void Say(FitRun run, FitJudgment judgment, List<Note> notes)
    {
        double bar = Math.Sqrt((judgment.Surface.GramMatrix * judgment.Covariance).Trace());
        if (notes.Any(n => n.Code == SetupNotes.ImageTurned.Code))
        {
            return;
        }

        if (Compared(run, judgment.Inflation, judgment.AirVariance) is var (apart, allowed, squares) && squares > NoChance && apart / 2 > Harmless * bar)
        {
            notes.Add(WavefrontNotes.ImagesDiffer.Say(string.Create(CultureInfo.InvariantCulture,
                $"The two images do not show one wavefront: they differ by {apart:F1} nm RMS, where their bars allow {allowed:F1} nm. The result is the " +
                    $"mean of two wavefronts. Let the tube cool, take both images again within minutes with the star at the same place of the sensor, " +
                        $"and see that both are stored the same way up.")));
        }
    }

    /// <summary>RMS of the difference, what its bars allow, nm, and the sum of its squares over its covariance; null where it cannot be told.</summary>
    public (double Apart, double Bar, double Squares)? Compared(FitRun run, double inflation, double[] airNm2)
    {
        if (PositiveDefinite.Inverse(Information) is not { } covariance)
        {
            return null;
        }

        // What a difference explains is no misfit any more.
        Vector<double> apart = covariance * Side;
        double left = Math.Max(0, 1 - (Side * apart / run.Fit.Chi2)), chi2 = run.ChiSquared * left;
        double misfit = Math.Max(1, chi2 <= Uncertainties.NoMisfit ? chi2 : inflation * left);
        int pairs = run.Models.Length;
        Matrix<double> all = covariance * misfit;
        for (int j = 0; j < apart.Count; j++)
        {
            // The pair's mean has a quarter of the sum of both images' variances, their difference has all of it.
            all[j, j] += 4 * airNm2[j] / pairs;
        }

        double bar = Math.Sqrt(all.Trace());
        if (Array.FindIndex(run.Modes.Take(apart.Count).ToArray(), m => m.Noll == Spherical) is >= 0 and int at)
        {
            all[at, at] += ByFocusing * ByFocusing;
        }

        return PositiveDefinite.Inverse(all) is { } inverse ? (apart.L2Norm(), bar, apart * (inverse * apart)) : null;
    }
}
