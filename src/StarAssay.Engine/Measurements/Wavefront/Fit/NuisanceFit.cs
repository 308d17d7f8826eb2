using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// What camera, guiding and air add to the images beside the model, told by the images themselves as far as they can and by what is usual for the
/// rest, and taken off the data. What stays open of it widens the bars.
/// </summary>
/// <param name="Normal">J^T W J of the fit's unknowns.</param>
/// <param name="Inverse">Its inverse.</param>
/// <param name="Inflation">Factor on it for misfit.</param>
/// <param name="Beside">The parameters.</param>
/// <param name="Values">Values that were taken off.</param>
/// <param name="Covariance">What stays open of them.</param>
/// <param name="Response">How the modes answer to a unit of each, nm; a row a mode.</param>
/// <param name="Fixed">What the images say of the inputs that are held fixed.</param>
/// <param name="Apart">By how much the two images of each pair want different wavefronts; null where it cannot be told.</param>
internal sealed record NuisanceFit(Matrix<double> Normal, Matrix<double> Inverse, double Inflation, Nuisances Beside, double[] Values,
    Matrix<double> Covariance, Matrix<double> Response, HeldInputs Fixed, ImagesApart? Apart)
{
    /// <summary>What each parameter is.</summary>
    public IReadOnlyList<Nuisance> Kinds { get; } = [.. Beside.Kinds];

    /// <summary>Difference of the sky between the edges of the window that is nothing unusual, of the star's level (a judgment, no source): the images
    /// tell it far better.</summary>
    private const double SkySlope = 0.01;

    /// <summary>Tilt of a sensor that is nothing unusual, radians (a judgment, no source).</summary>
    private const double UsualTilt = 0.03;

    /// <summary>What a step may make worse of chi squared and still count as no change.</summary>
    private const double Worse = 1e-3;

    /// <summary>Rounds at most, and the share of the misfit's factor below which another one follows.</summary>
    private const int Rounds = 3;
    private const double Less = 0.8;

    /// <summary>Finds them at a finished fit, and moves fit and data to where the images are without them.</summary>
    public static NuisanceFit TakeOff(WavefrontRequest request, PairPreparation[] prepared, FitRun run)
    {
        NuisanceFit found = Once(request, prepared, run, null);

        // With a large misfit, what is usual bounds them too tightly; without it the images may say more.
        for (int round = 1; round < Rounds && Uncertainties.Inflation(run.Fit, prepared, run.ChiSquared) < Less * found.Inflation; round++)
        {
            found = Once(request, prepared, run, found.Values);
        }

        return found;
    }

    private static NuisanceFit Once(WavefrontRequest request, PairPreparation[] prepared, FitRun run, double[]? before)
    {
        JointFit fit = run.Fit;
        KnownTo known = request.KnownTo;
        double[] trail = FitStrategy.TrailPx(request, run.Models);
        var beside = new Nuisances(fit, new NuisanceSizes(known.Response, trail, SkySlope, known.ShadowPlace));
        double[] values = before ?? beside.Within(fit.States);
        StatedInputs inputs = StatedInputs.Of(request, run.Strategy.Offsets, fit);
        var apart = new ModesApart(fit, ImagesApart.Modes);
        (Matrix<double> whole, Vector<double> wholeSides) = fit.Derivatives.NormalEquations(
            new BesideBoth(new BesideBoth(beside, inputs.Changes), new BesideBoth(new SensorTilt(fit), apart)));
        int drawn = fit.Unknowns.Count + beside.Count + inputs.Changes.Count;
        (Matrix<double> equations, Vector<double> sides) = (whole.SubMatrix(0, drawn, 0, drawn), wholeSides.SubVector(0, drawn));
        int count = fit.Unknowns.Count, modes = fit.ModeCount, own = count + beside.Count;
        Matrix<double> all = equations.SubMatrix(0, own, 0, own);
        Vector<double> gradient = sides.SubVector(0, own);
        Matrix<double> normal = all.SubMatrix(0, count, 0, count);
        Matrix<double> inverse = normal.Inverse();
        double inflation = Uncertainties.Inflation(fit, prepared, run.ChiSquared);

        // A wrong model must not pass for these: with a misfit the images say less, and what is usual says more.
        for (int j = 0; j < beside.Count; j++)
        {
            double precision = inflation / Math.Pow(beside.Size(j), 2);
            all[count + j, count + j] += precision;
            gradient[count + j] -= precision * values[j];
        }

        Matrix<double> answer = -(inverse * all.SubMatrix(0, count, count, beside.Count)).SubMatrix(0, modes, 0, beside.Count);
        Matrix<double>? inverted = PositiveDefinite.Inverse(all);
        HeldInputs held = HeldInputs.From(inputs, inverted ?? all.PseudoInverse(), equations, sides, gradient);
        ImagesApart? twice = Differing(inputs, inflation, all, gradient, whole, wholeSides, apart.Count);
        if (inverted is { } follows)
        {
            Vector<double> step = follows * gradient;
            double[] more = [.. step.Skip(count)];
            if (Place(fit, beside, step.SubVector(0, count), more))
            {
                Matrix<double> open = follows.SubMatrix(count, beside.Count, count, beside.Count) * inflation;
                return new NuisanceFit(normal, inverse, inflation, beside, [.. values.Zip(more, (a, b) => a + b)], open, answer, held, twice);
            }
        }

        var usual = Matrix<double>.Build.DenseOfDiagonalArray([.. Enumerable.Range(0, beside.Count).Select(j => Math.Pow(beside.Size(j), 2))]);
        return new NuisanceFit(normal, inverse, inflation, beside, values, usual, answer, held, twice);
    }

    // The other unknowns follow, nuisances as far as is usual, drawn inputs as far as they are known, and a tilt of the sensor.
    private static ImagesApart? Differing(StatedInputs inputs, double inflation, Matrix<double> known, Vector<double> gradient, Matrix<double> equations,
        Vector<double> sides, int apart)
    {
        int others = sides.Count - apart, own = gradient.Count;
        Matrix<double> all = equations.SubMatrix(0, others, 0, others);
        all.SetSubMatrix(0, 0, known);
        Vector<double> side = sides.SubVector(0, others);
        side.SetSubVector(0, own, gradient);
        for (int d = own; d < others; d++)
        {
            var of = inputs.All.Where(i => i.Change == d - own).ToArray();
            double size2 = d - own < inputs.Changes.Count ? of.Sum(i => i.InSteps * i.InSteps) : UsualTilt * UsualTilt;
            double precision = inflation / Math.Max(1e-12, size2);
            all[d, d] += precision;
            side[d] -= precision * of.Sum(i => i.Moved * i.InSteps);
        }

        return PositiveDefinite.Inverse(all) is { } inverse ? ImagesApart.From(inverse, equations, sides, side) : null;
    }

    /// <summary>What those of one kind leave open of the modes, nm^2.</summary>
    public Matrix<double> Open(Nuisance kind)
    {
        Matrix<double> part = Covariance.MapIndexed((i, j, v) => Kinds[i] == kind && Kinds[j] == kind ? v : 0);
        return Response * part * Response.Transpose();
    }

    /// <summary>The same of all kinds together, of which the parts above leave out what two kinds share.</summary>
    public Matrix<double> OpenTogether() => Response * Covariance * Response.Transpose();

    /// <summary>The largest value of a kind that was taken off, the length of its two parts, and its standard uncertainty; null where there is none.</summary>
    public (double Value, double Bar)? Largest(Nuisance kind)
    {
        int[] at = [.. Enumerable.Range(0, Kinds.Count).Where(j => Kinds[j] == kind)];
        if (at.Length == 0)
        {
            return null;
        }

        return at.Chunk(2).Select(c => (Math.Sqrt(c.Sum(j => Values[j] * Values[j])), Math.Sqrt(c.Max(j => Covariance[j, j])))).Max();
    }

    /// <summary>The largest standard uncertainty that is left of a kind, in its own unit; NaN where there is none.</summary>
    public double Left(Nuisance kind) =>
        Kinds.Select((k, j) => k == kind ? Math.Sqrt(Covariance[j, j]) : double.NaN).Where(double.IsFinite).DefaultIfEmpty(double.NaN).Max();

    private static bool Place(JointFit fit, Nuisances beside, Vector<double> step, double[] values)
    {
        PairState[] before = fit.States;
        double chi2 = fit.Chi2;
        beside.TakeOff(fit.Data, values);
        fit.Place(beside.Trailed(fit.Unknowns.Moved(before, step), values));
        if (fit.Chi2 <= chi2 * (1 + Worse))
        {
            return true;
        }

        beside.TakeOff(fit.Data, [.. values.Select(v => -v)]);
        fit.Place(before);
        return false;
    }
}
