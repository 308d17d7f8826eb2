using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Tests.Measurements.Wavefront;

/// <summary>The modes on offer and how many of them data ask for.</summary>
public class FitModesTests
{
    [Fact]
    public void EveryModeStandsOnceAndRingsComeBeforeFineOrders()
    {
        var modes = new FitModes(0, 22, 136);
        Assert.Equal(modes.Count, modes.Distinct().Count());
        Assert.Equal(Enumerable.Range(5, 41), modes.Take(41).Select(m => m.Noll));
        Assert.Equal(Enumerable.Range(5, 12).Select(k => new ZernikeIndex(2 * k, 0)), modes.Skip(41).Take(12));
        Assert.All(modes.Skip(53), m => Assert.True(m.M != 0 && m.Noll is > 45 and <= 136));
        Assert.Equal(136 - 4 - 3 + 12, modes.Count); // less the three of them (orders 10, 12, 14) that are rings already
        Assert.Equal([18, 24, 32, 41], modes.Rungs.Take(modes.FirstRungs));
        Assert.Equal(modes.Rungs.Order(), modes.Rungs);
        Assert.Equal(modes.Count, modes.Rungs[^1]);
    }

    [Fact]
    public void ALimitOfWholeOrdersLeavesRingsOut()
    {
        var modes = new FitModes(0.3, 22, 45);
        Assert.Equal(ZernikeIndex.NollRange(5, 45), modes);
        Assert.Equal(modes.FirstRungs, modes.Rungs.Count);
    }

    /// <summary>Rings up to order 32 and finer modes over a ring, as a fit frees them: beyond its rims they keep the rims' values.</summary>
    [Theory]
    [InlineData(0)]
    [InlineData(0.2)]
    [InlineData(0.38)]
    public void RowsOfAPupilGridFollowTheScalarTwin(double obstruction)
    {
        var modes = new FitModes(obstruction, 22, 136);
        using var memory = new MatrixLease();
        var grid = new PupilGrid(new PupilShape { Obstruction = obstruction }, modes, 61.3, 550, 1, memory);
        var team = new Team(2, CancellationToken.None);
        grid.EnsureModes(30, team, memory);
        grid.EnsureModes(modes.Count, team, memory);
        double worst = 0;
        for (int j = 0; j < modes.Count; j++)
        {
            float[] row = grid.Mode(j);
            for (int p = 0; p < grid.Length; p++)
            {
                // Samples that pass nothing are of no account.
                worst = Math.Max(worst, grid.Amplitude[p] == 0 ? 0 : Math.Abs(row[p] - modes.Evaluate(j, grid.X[p], grid.Y[p])));
            }
        }

        // At the rim a ring of order 32 climbs by sqrt(33) x 16 x 17 x 2 = 3100 a radius, and u = rho^2 is known to 1.2e-7 there in single precision.
        Assert.InRange(worst, 1e-9, 3100 * 1.2e-7);
    }

    /// <summary>Fine modes are orthonormal over the ring (Mahajan 1981), to each other and to whole orders without angle.</summary>
    [Theory]
    [InlineData(0)]
    [InlineData(0.35)]
    public void RingsAreOrthonormalWhereLightPasses(double obstruction)
    {
        var modes = new FitModes(obstruction, 22, 136);
        int[] rings = [.. Enumerable.Range(0, modes.Count).Where(j => modes[j].M == 0)];
        const int Steps = 20000;
        double low = obstruction * obstruction;
        foreach (int a in rings.Where(j => j >= modes.Whole))
        {
            foreach (int b in rings)
            {
                // Mean over the ring: the midpoint rule in rho^2.
                double mean = 0;
                for (int i = 0; i < Steps; i++)
                {
                    double rho = Math.Sqrt(low + ((1 - low) * (i + 0.5) / Steps));
                    mean += modes.Evaluate(a, rho, 0) * modes.Evaluate(b, rho, 0) / Steps;
                }

                // The rule's own error grows with the square of the order at the rim: 2e-5 at order 32.
                Assert.Equal(a == b ? 1 : 0, mean, 1e-4);
            }
        }
    }

    [Fact]
    public void SamplesThatTheRimOnlyTouchesTakeItsValue()
    {
        var modes = new FitModes(0, 22, 136);
        int last = Enumerable.Range(0, modes.Count).Single(j => modes[j] == new ZernikeIndex(FitModes.FinestRing, 0));
        Assert.Equal(modes.Evaluate(last, 0.6, 0.8), modes.Evaluate(last, 0.606, 0.808), 1e-9);
        Assert.Equal(Math.Sqrt(FitModes.FinestRing + 1), modes.Evaluate(last, 0.6, 0.8), 1e-9); // sqrt(n + 1) at the rim (Noll 1976)
    }

    /// <summary>A linear problem whose answer is known: three modes that matter, two that do not, one unknown of another kind.</summary>
    [Theory]
    [InlineData(40, 3)]
    [InlineData(1e-3, 1)]
    public void AsManyModesAsTheDataAskFor(double third, int expected)
    {
        const int Points = 1000;
        var random = new Random(5);
        Matrix<double> j = Matrix<double>.Build.Dense(Points, 6, (_, _) => random.NextDouble() - 0.5);
        double[] truth = [50, 1e-3, third, 0, 0, 7];
        Vector<double> noise = Vector<double>.Build.Dense(Points, _ => MathNet.Numerics.Distributions.Normal.Sample(random, 0, 1));
        Vector<double> data = (j * Vector<double>.Build.DenseOfArray(truth)) + noise;

        // From a start in which modes that will go are not zero.
        double[] present = [20, 3, 5, 4, -4, 1];
        Vector<double> rest = data - (j * Vector<double>.Build.DenseOfArray(present));
        int best = OrderChoice.Best(j.Transpose() * j, j.Transpose() * rest, present.AsSpan(0, 5), rest * rest, Points, [1, 3, 5]);
        Assert.Equal(expected, best);
    }
}
