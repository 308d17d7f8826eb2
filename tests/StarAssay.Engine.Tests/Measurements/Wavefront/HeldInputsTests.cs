using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Tests.Measurements.Wavefront;

/// <summary>What is stated, what the images say, and what both leave: against the normal distributions' product in closed form and by numbers
/// drawn from it.</summary>
public class HeldInputsTests
{
    [Fact]
    public void Images_that_say_nothing_leave_what_is_stated()
    {
        Matrix<double> left = HeldInputs.Left(Matrix<double>.Build.Dense(2, 2), Vector<double>.Build.Dense(2), Vector<double>.Build.Dense(2));
        Assert.Equal(0, (left - Matrix<double>.Build.DenseIdentity(2)).L2Norm(), 1e-12);
    }

    [Fact]
    public void One_value_is_the_product_of_two_normal_distributions()
    {
        // Stated 0 +- 1, seen at 0.8 +- 0.5: 0.64 +- sqrt(0.2), as any textbook has it; about the stated value that is 0.2 + 0.64^2.
        Matrix<double> information = Matrix<double>.Build.Dense(1, 1, 4);
        Assert.Equal(0.2 + (0.64 * 0.64), HeldInputs.Left(information, information * Vector<double>.Build.Dense(1, 0.8), Vector<double>.Build.Dense(1))[0, 0], 1e-12);
    }

    [Fact]
    public void Where_they_disagree_both_know_less()
    {
        // Stated 0 +- 1 and seen at 4 +- 0.5: the difference has a variance of 1.25, so chi squared is 12.8 for one degree of freedom.
        Matrix<double> information = Matrix<double>.Build.Dense(1, 1, 4);
        Vector<double> side = information * Vector<double>.Build.Dense(1, 4.0), stated = Vector<double>.Build.Dense(1);
        Assert.Equal(12.8, HeldInputs.Disagreement(information, side, stated), 1e-9);
        Assert.Equal((0.2 * 12.8) + (3.2 * 3.2), HeldInputs.Left(information, side, stated)[0, 0], 1e-9);
        Assert.Equal(1, HeldInputs.Disagreement(information, information * Vector<double>.Build.Dense(1, 0.5), stated));
    }

    [Fact]
    public void Over_many_draws_it_is_the_spread_of_the_true_values()
    {
        // True values from what is stated, seen with errors that two of them share: in the mean the second moment is that of the statement,
        // for every draw it is nearer to its own true value.
        var random = new Random(7);
        Matrix<double> information = Matrix<double>.Build.DenseOfArray(new double[,] { { 9, -6, 0 }, { -6, 8, 1 }, { 0, 1, 0.5 } });
        Matrix<double> root = information.Inverse().Cholesky().Factor;
        const int Draws = 20000;
        var stated = Matrix<double>.Build.Dense(3, 3);
        var spread = Matrix<double>.Build.Dense(3, 3);
        double ratio = 0;
        for (int n = 0; n < Draws; n++)
        {
            Vector<double> truth = Normal(random), seen = truth + (root * Normal(random));
            Matrix<double> left = HeldInputs.Left(information, information * seen, Vector<double>.Build.Dense(3));
            (Matrix<double> covariance, Vector<double> mean) = HeldInputs.Both(information, information * seen, Vector<double>.Build.Dense(3));
            stated += (covariance + (mean.ToColumnMatrix() * mean.ToRowMatrix())) / Draws;
            spread += truth.ToColumnMatrix() * truth.ToRowMatrix() / Draws;
            ratio += truth * left.Solve(truth) / (3.0 * Draws);
        }

        Assert.InRange((stated - Matrix<double>.Build.DenseIdentity(3)).L2Norm(), 0, 0.05);
        Assert.InRange((spread - Matrix<double>.Build.DenseIdentity(3)).L2Norm(), 0, 0.05);
        Assert.InRange(ratio, 0.5, 1.0);
    }

    [Fact]
    public void Longer_waves_on_larger_pixels_draw_the_same_images_of_a_larger_wavefront()
    {
        // By similarity alone: only path over wavelength, and pixels over wavelength and focal ratio, are in the images.
        (PairModel model, PairState state, _) = PairModelTests.SmallFit(separate: false, 0.0, gaussian: false);
        using PairModel keep = model;
        const double Larger = 0.01;
        using var other = new PairModel(new InputOffsets(Larger, Larger, 0).On(model.Optics), model.Modes, 1.01 * 1400, model.Team);
        double[] Times(double[] values) => [.. values.Select(v => v * (1 + Larger))];
        other.Evaluate(state with
        {
            CoefficientsNm = Times(state.CoefficientsNm),
            DefocusNm = Times(state.DefocusNm),
            TiltXNm = Times(state.TiltXNm),
            TiltYNm = Times(state.TiltYNm),
        });
        model.Evaluate(state);
        for (int k = 0; k < 2; k++)
        {
            float[] one = model.Pixels.Part(k).ToArray(), two = other.Pixels.Part(k).ToArray();
            Assert.InRange(one.Zip(two, (a, b) => Math.Abs(a - b)).Max() / one.Max(), 0, 2e-3);
        }
    }

    private static Vector<double> Normal(Random random) =>
        Vector<double>.Build.Dense(3, _ => Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble()));
}
