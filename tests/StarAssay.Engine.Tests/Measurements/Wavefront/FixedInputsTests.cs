using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Measurements.Wavefront;

namespace StarAssay.Engine.Tests.Measurements.Wavefront;

/// <summary>What is stated, what the images say, and what both leave: against the normal distributions' product in closed form and by numbers
/// drawn from it.</summary>
public class FixedInputsTests
{
    [Fact]
    public void Images_that_say_nothing_leave_what_is_stated()
    {
        Matrix<double> left = FixedInputs.Left(Matrix<double>.Build.Dense(2, 2), Vector<double>.Build.Dense(2));
        Assert.Equal(0, (left - Matrix<double>.Build.DenseIdentity(2)).L2Norm(), 1e-12);
    }

    [Fact]
    public void One_value_is_the_product_of_two_normal_distributions()
    {
        // Stated 0 +- 1, seen at 0.8 +- 0.5: 0.64 +- sqrt(0.2), as any textbook has it; about the stated value that is 0.2 + 0.64^2.
        Matrix<double> information = Matrix<double>.Build.Dense(1, 1, 4);
        Assert.Equal(0.2 + (0.64 * 0.64), FixedInputs.Left(information, information * Vector<double>.Build.Dense(1, 0.8))[0, 0], 1e-12);
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
            Matrix<double> left = FixedInputs.Left(information, information * seen);
            stated += left / Draws;
            spread += truth.ToColumnMatrix() * truth.ToRowMatrix() / Draws;
            ratio += truth * left.Solve(truth) / (3.0 * Draws);
        }

        Assert.InRange((stated - Matrix<double>.Build.DenseIdentity(3)).L2Norm(), 0, 0.05);
        Assert.InRange((spread - Matrix<double>.Build.DenseIdentity(3)).L2Norm(), 0, 0.05);
        Assert.InRange(ratio, 0.5, 1.0);
    }

    private static Vector<double> Normal(Random random) =>
        Vector<double>.Build.Dense(3, _ => Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble()));
}
