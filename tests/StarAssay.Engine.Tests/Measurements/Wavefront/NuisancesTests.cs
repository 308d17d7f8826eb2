using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Tests.Measurements.Wavefront;

/// <summary>Nuisance parameters beside a joint fit: sums against plain ones in double precision, images against changed models, values against
/// what was added.</summary>
public class NuisancesTests
{
    private static readonly NuisanceSizes Usual = new(0.01, [0.5], 0.01, 0.02);

    [Fact]
    public void Sums_are_those_of_the_weighted_images()
    {
        (PairModel model, _, JointFit fit) = PairModelTests.SmallFit(separate: false, 0.01, gaussian: false);
        using PairModel keep = model;
        var beside = new Nuisances(fit, Usual);
        (Matrix<double> all, Vector<double> gradient) = fit.Derivatives.NormalEquations(beside);
        int count = fit.Unknowns.Count;
        Assert.Equal(2 + (2 * 4) + 2, beside.Count);
        Assert.Equal(count + beside.Count, all.RowCount);
        double[,] expected = new double[beside.Count, beside.Count];
        double[] side = new double[beside.Count];
        for (int k = 0; k < 2; k++)
        {
            foreach ((float[] a, int i) in beside.In(0, k))
            {
                side[i] += a.Select((v, at) => v * (double)fit.Roots[0][k][at] * fit.Residuals[0][k][at]).Sum();
                foreach ((float[] b, int j) in beside.In(0, k))
                {
                    expected[i, j] += a.Select((v, at) => (double)v * b[at] * fit.Weights[0][k][at]).Sum();
                }
            }
        }

        for (int i = 0; i < beside.Count; i++)
        {
            Assert.Equal(side[i], gradient[count + i], 1e-5 * Math.Sqrt(expected[i, i] * fit.Chi2));
            for (int j = 0; j < beside.Count; j++)
            {
                Assert.Equal(expected[i, j], all[count + i, count + j], 1e-5 * Math.Sqrt(expected[i, i] * expected[j, j]));
            }
        }

        // The fit's own part is the same with and without them.
        Matrix<double> own = fit.Derivatives.NormalMatrix();
        Matrix<double> part = all.SubMatrix(0, count, 0, count);
        Assert.True((own - part).L2Norm() < 1e-6 * own.L2Norm());
    }

    [Fact]
    public void What_was_added_is_found_beside_free_modes()
    {
        (PairModel model, PairState state, JointFit fit) = PairModelTests.SmallFit(separate: false, 0.0, gaussian: false);
        using PairModel keep = model;
        var beside = new Nuisances(fit, Usual);
        double[] added = [.. Enumerable.Range(0, beside.Count).Select(j => beside.Size(j) * ((j % 3) - 1) * 0.5)];
        PairState[] trailed = beside.Trailed([state], added);
        Assert.Equal(added.Zip(beside.Kinds, (v, kind) => kind == Nuisance.Trail ? v : 0), beside.Within(trailed));
        fit.Place(trailed);
        for (int k = 0; k < 2; k++)
        {
            // The model itself, so that only what is added is left.
            fit.ModelElectrons(0, k).CopyTo(fit.Data[0].Electrons[k], 0);
        }

        beside.TakeOff(fit.Data, [.. added.Select(v => -v)]);
        fit.Place([state]);
        (Matrix<double> all, Vector<double> gradient) = fit.Derivatives.NormalEquations(beside);
        Vector<double> step = PositiveDefinite.Inverse(all)! * gradient;
        for (int j = 0; j < beside.Count; j++)
        {
            Assert.Equal(added[j], step[fit.Unknowns.Count + j], 0.02 * beside.Size(j));
        }
    }

    [Fact]
    public void A_moved_shadow_is_what_a_changed_pupil_draws()
    {
        (PairModel model, PairState state, JointFit fit) = PairModelTests.SmallFit(separate: false, 0.0, gaussian: false);
        using PairModel keep = model;
        var beside = new Nuisances(fit, Usual with { Response = 0, TrailPx = [0], Sky = 0 });
        Assert.Equal([Nuisance.Shadow, Nuisance.Shadow], beside.Kinds);
        var shape = model.Optics.Shape with { ObstructionX = 0.02, ObstructionY = -0.01 };
        using var moved = new PairModel(model.Optics with { Shape = shape }, model.Modes, 1400, model.Team);
        moved.Evaluate(state);
        model.Evaluate(state);
        for (int k = 0; k < 2; k++)
        {
            (float[] x, float[] y) = (beside.In(0, k)[0].Image, beside.In(0, k)[1].Image);
            (double miss, double whole) = (0, 0);
            for (int i = 0; i < x.Length; i++)
            {
                double difference = state.Flux[k] * ((double)moved.Pixels.Part(k)[i] - model.Pixels.Part(k)[i]);
                miss += Math.Pow((0.02 * x[i]) - (0.01 * y[i]) - difference, 2);
                whole += difference * difference;
            }

            // Straight lines miss by what the pupil's cells and the shadow's curve leave.
            Assert.InRange(Math.Sqrt(miss / whole), 0, 0.12);
        }
    }
}
