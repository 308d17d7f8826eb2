using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// Looks for the vanes of a secondary's holder that nobody stated: they are the worst misfit of a reflecting telescope, and modes imitate their
/// shadows badly.
/// </summary>
/// <remarks>
/// A thin vane changes the images in proportion to its width, and several change them by their sum. One look at single vanes all round the pupil
/// therefore tells how much any set of them explains, all other unknowns following: sets of equal vanes at equal angles are compared. What was
/// found is then turned and widened by steps of Gauss and Newton with the real images.
/// </remarks>
/// <param name="fit">Settled without vanes.</param>
internal sealed class VaneSearch(JointFit fit)
{
    /// <summary>Chi squared from which it is worth a look, and least obstruction that a holder holds.</summary>
    private const double From = 1.1;
    private const double LeastObstruction = 0.05;

    // Width of the vanes that are tried, of the aperture, and the angle between them: a third of the disc's blur at its rim.
    private const double Width = 0.01;
    private const int StepDeg = 5;

    // Widths that a holder may have.
    private const double Thinnest = 0.001;
    private const double Thickest = 0.08;

    // Gain in chi squared over what is left a pixel, and share of the misfit that it must be.
    private const double Gain = 60;
    private const double Share = 0.1;

    private static readonly int[] Counts = [3, 4, 2, 6];

    /// <summary>Whether a fit as it stands asks for it.</summary>
    public static bool Worthwhile(JointFit fit, PupilShape pupil) =>
        pupil.Obstruction > LeastObstruction && pupil.Vanes.Count == 0 && fit.Chi2 > From * fit.Points;

    /// <summary>Vanes that explain the misfit best; null when none explain much of it.</summary>
    public IReadOnlyList<Vane>? Look()
    {
        int all = 360 / StepDeg;
        var tried = new BesideChanges();
        tried.AddRoughly(fit, [.. Enumerable.Range(0, all).Select(a => With([new Vane(a * StepDeg, Width)]))]);
        if (tried.Followed(fit) is not (var normal, var side))
        {
            return null;
        }

        (double Gain, int Count, double Angle, double Share) best = default;
        foreach (int count in Counts)
        {
            int turns = all / count;
            (double Gain, double Share)[] sets = [.. Enumerable.Range(0, turns).Select(first => Of(normal, side, count, first))];
            int at = Array.IndexOf(sets, sets.MaxBy(s => s.Gain));
            if (sets[at].Gain > best.Gain)
            {
                // The parabola through the neighbors.
                (double before, double top, double after) = (sets[(at + turns - 1) % turns].Gain, sets[at].Gain, sets[(at + 1) % turns].Gain);
                double bend = before - (2 * top) + after;
                double shift = bend < 0 ? Math.Clamp(0.5 * (before - after) / bend, -0.5, 0.5) : 0;
                best = (top, count, (at + shift) * StepDeg, sets[at].Share);
            }
        }

        double misfit = Math.Max(0, fit.Chi2 - fit.Points);
        double wide = best.Share * Width;
        return best.Gain > Gain * fit.Models.Length * fit.Chi2 / fit.Points && best.Gain > Share * misfit && wide > Thinnest && wide < Thickest
            ? Set(best.Count, best.Angle, wide)
            : null;
    }

    /// <summary>Vanes turned and widened by what the residuals of a fit with them say.</summary>
    public static IReadOnlyList<Vane> Better(JointFit fit)
    {
        const double TurnDeg = 1, Wider = 0.1;
        IReadOnlyList<Vane> vanes = fit.Models[0].Optics.Shape.Vanes;
        double width = vanes[0].WidthFraction;
        var tried = new BesideChanges();
        tried.Add(fit, With(Set(vanes.Count, vanes[0].AngleDeg + TurnDeg, width)));
        tried.Add(fit, With(Set(vanes.Count, vanes[0].AngleDeg, width * (1 + Wider))));
        if (tried.Followed(fit) is not (var normal, var side))
        {
            return vanes;
        }

        Vector<double> step = normal.Solve(side);
        return Set(vanes.Count, vanes[0].AngleDeg + (TurnDeg * Math.Clamp(step[0], -StepDeg, StepDeg)),
            Math.Clamp(width * (1 + (Wider * Math.Clamp(step[1], -5, 10))), Thinnest, Thickest));
    }

    // Equal vanes at equal angles; the first where it lies between 0 and the next.
    private static IReadOnlyList<Vane> Set(int count, double angle, double width)
    {
        double between = 360.0 / count;
        double first = angle - (between * Math.Floor(angle / between));
        return [.. Enumerable.Range(0, count).Select(v => new Vane(first + (v * between), width))];
    }

    // What a set of equal vanes gains, and how many times the width tried it then has.
    private static (double Gain, double Share) Of(Matrix<double> normal, Vector<double> side, int count, int first)
    {
        int[] at = [.. Enumerable.Range(0, count).Select(v => first + (v * side.Count / count))];
        double along = at.Sum(a => side[a]);
        double curvature = at.Sum(a => at.Sum(b => normal[a, b]));
        return along > 0 && curvature > 0 ? (along * along / curvature, along / curvature) : (0, 0);
    }

    private static Func<PairOptics, PairOptics> With(IReadOnlyList<Vane> vanes) => o => o with { Shape = o.Shape with { Vanes = vanes } };
}
