using StarAssay.Engine.Measurements.ColorFocus;
using StarAssay.Engine.Optics;
using Xunit;

namespace StarAssay.Engine.Tests.Measurements.ColorFocus;

public class SmoothingTests
{
    private static double[] Nm(int n) => [.. Enumerable.Range(0, n).Select(i => 392 + (355.0 * i / (n - 1)))];

    [Theory]
    [InlineData("S-FPL51", "N-KZFS4", 0.0006)]
    [InlineData("N-BK7", "F2", 0.0006)]
    [InlineData("S-FPL53", "N-KZFS4", 0.005)]
    public void Bands_of_the_smooth_curve_hold_the_truth_in_about_two_thirds(string crown, string flint, double noise)
    {
        // What Nychka (1988, J. Am. Stat. Assoc. 83, 1134) proves of such bands: on the average over the curve they hold the share that
        // they state, for a curve that no prior knew. 60 draws.
        double[] nm = Nm(90), truth = [.. nm.Select(w => GlassLens.Doublet(GlassCatalog.Find(crown), GlassCatalog.Find(flint)).FocusShiftUm(w, 1000, 550))];
        double sigma = noise * (truth.Max() - truth.Min());
        var basis = new SplineBasis(nm[0], nm[^1]);
        var random = new Random(11);
        int held = 0, all = 0;
        for (int draw = 0; draw < 60; draw++)
        {
            double[] value = [.. truth.Select(t => t + (sigma * ProfileFit.Gaussian(random)))];
            SplineSmoother smoother = SplineSmoother.Fit(basis, nm, value, [.. nm.Select(_ => sigma)]);
            double[][] replicates = [.. Enumerable.Range(0, 60).Select(_ =>
            {
                double[] again = smoother.Refit([.. value.Select(v => v + (sigma * ProfileFit.Gaussian(random)))]), bias = smoother.DrawBias(random);
                return nm.Select(w => SplineBasis.Dot(basis.At(w), [.. again.Zip(bias, (a, b) => a + b)])).ToArray();
            })];
            for (int i = 0; i < nm.Length; i++)
            {
                double bar = CurveAssembly.Spread(replicates.Select(r => r[i]));
                held += Math.Abs(SplineBasis.Dot(basis.At(nm[i]), smoother.Coefficients) - truth[i]) < bar ? 1 : 0;
                all++;
            }
        }

        Assert.InRange(held / (double)all, 0.62, 0.76);
    }

    [Fact]
    public void A_value_far_off_does_not_bend_the_curve()
    {
        double[] nm = Nm(60), truth = [.. nm.Select(w => 300 * Math.Pow((w - 550) / 150, 2))];
        double[] value = [.. truth];
        value[20] += 5000;
        SplineSmoother smoother = SplineSmoother.Fit(new SplineBasis(nm[0], nm[^1]), nm, value, [.. nm.Select(_ => 1.0)]);
        var basis = new SplineBasis(nm[0], nm[^1]);
        Assert.All(Enumerable.Range(0, 60), i => Assert.Equal(truth[i], SplineBasis.Dot(basis.At(nm[i]), smoother.Coefficients), 3.0));
    }

    [Fact]
    public void A_blend_is_placed_by_its_lines_not_by_its_peak()
    {
        // Argon's 772.376 and 772.421 nm and 750.387 and 751.465 nm (Norlen 1973): unresolved, and half resolved at 0.4 nm a column.
        var shape = new LineShape(3, 1.2);
        LampLine[] lines = [new(750.3869, 0.6, 0), new(751.4652, 0.4, 0)];
        double[] at = [100.0, 100 + ((751.4652 - 750.3869) / 0.4)];
        const double Shift = 0.37;
        double[] v = [.. Enumerable.Range(0, 200).Select(c => (9000 * shape.At(c - at[0] - Shift)) + (3000 * shape.At(c - at[1] - Shift)))];
        LineBlend blend = LineBlend.Fit(v, [.. v.Select(_ => 5.0)], shape, at, lines, 2)!.Value;
        double mean = ((0.75 * 750.3869) + (0.25 * 751.4652) - 750.3869) / 0.4;
        Assert.Equal(100 + Shift + ((blend.Nm - 750.3869) / 0.4), blend.Column, 0.03);
        Assert.Equal(mean, (blend.Nm - 750.3869) / 0.4, 0.12); // strengths found, not those of the list
        Assert.InRange(blend.Sigma, 0.001, 0.2);
    }

    [Fact]
    public void A_line_holds_all_of_its_light()
    {
        foreach ((double box, double sigma) in new[] { (0.5, 0.4), (3, 1.2), (9, 2.5) })
        {
            var shape = new LineShape(box, sigma);
            Assert.Equal(1, Enumerable.Range(-40, 81).Sum(c => shape.At(c - 0.3)), 1e-6);
            if (sigma < 1)
            {
                continue; // narrower than a pixel, a sampled line has no exact middle
            }

            Assert.Equal(0.3, Enumerable.Range(-40, 81).Sum(c => c * shape.At(c - 0.3)), 1e-6);
        }
    }

    [Fact]
    public void The_scale_takes_the_degree_that_the_lines_ask_for_and_grows_unsure_beyond_them()
    {
        double[] column = [.. Enumerable.Range(0, 20).Select(i => 300 + (25.0 * i))];
        var random = new Random(3);
        double True(double x) => 400 + (0.4 * x) + (1e-5 * x * x);
        ScaleFit fit = ScaleFit.Through([.. column.Select(x => x + (0.03 * ProfileFit.Gaussian(random)))], [.. column.Select(True)], [.. column.Select(_ => 0.03)], 1000, 4)!;
        Assert.Equal(3, fit.Scale.Coefficients.Length);
        Assert.True(fit.Sigma(0) > 4 * fit.Sigma(500));
        foreach (double x in new[] { 0.0, 150, 500, 900, 999 })
        {
            Assert.InRange(Math.Abs(fit.Scale.Nm(x) - True(x)) / fit.Sigma(x), 0, 3);
        }
    }
}
