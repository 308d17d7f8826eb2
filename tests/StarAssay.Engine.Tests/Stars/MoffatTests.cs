using StarAssay.Engine.Numerics;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>Truth: closed forms of the profile (Moffat 1969, A&amp;A 3, 455), the drawn parameters, and the scalar twin.</summary>
public class MoffatTests
{
    [Theory]
    [InlineData(2.0, 0.77689)]
    [InlineData(2.5, 0.67795)]
    [InlineData(3.0, 0.63119)]
    [InlineData(3.5, 0.60391)]
    [InlineData(4.765, 0.56811)]
    [InlineData(10, 0.52807)]
    public void Half_flux_radius_over_FWHM_is_the_tabulated_one(double beta, double ratio)
    {
        Moffat m = Moffat.Round(0, 0, 1.7, beta);
        Assert.Equal(ratio, Moffat.RadiusOf(0.5, 1.7, beta) / m.Fwhm, 6e-6);
        Assert.Equal(0.5, Moffat.Inside(Moffat.RadiusOf(0.5, 1.7, beta), 1.7, beta), 1e-12);
    }

    [Fact]
    public void Drawn_light_adds_up()
    {
        var stamp = new Stamp(30);
        MoffatKernel.Draw(stamp, new MoffatKernel.Area(0, 0, 61, 61), Moffat.Round(30.3, 29.8, 2, 3), true);
        double sum = 0;
        foreach (float v in stamp.Pixels)
        {
            sum += v;
        }

        // Outside 30 px of a beta 3 profile of alpha 2 lie 2e-5 of the light, a little more outside the square.
        Assert.Equal(1, sum, 5e-5);
    }

    [Theory]
    [InlineData(1.2, 2.5, 0.0)]
    [InlineData(2.0, 3.0, 0.15)]
    [InlineData(3.5, 4.5, -0.2)]
    public void A_drawn_star_is_fitted_back(double alpha, double beta, double stretch)
    {
        var stamp = new Stamp(16);
        double q = 1 / (alpha * alpha);
        var truth = new Moffat { A = 500, X = 16.23, Y = 15.71, P = q * (1 + stretch), K = 0.1 * q, R = q * (1 - stretch), Beta = beta };
        MoffatKernel.Draw(stamp, new MoffatKernel.Area(0, 0, 33, 33), truth, true);
        Ellipse start = AdaptiveMoments.Measure(stamp, 16, 16, 2, 0);
        MoffatFit.Outcome found = new MoffatFit(16).Fit(stamp, start, 3.2, true, 1, double.NaN, 10);
        Assert.True(found.Converged);

        // The fit integrates with two nodes a side where the profile is wide (alpha > 1.8): 4th-order remainder below 0.3 % of FWHM.
        Assert.Equal(truth.Fwhm, found.Model.Fwhm, 0.004 * truth.Fwhm);
        Assert.Equal(truth.X, found.Model.X, 2e-3);
        Assert.Equal(truth.Y, found.Model.Y, 2e-3);
        Assert.Equal(beta, found.Model.Beta, 0.05 * beta);
    }

    [Fact]
    public void Stated_uncertainty_of_FWHM_is_the_scatter()
    {
        var random = new Random(11);
        var fits = new List<double>();
        double stated = 0;
        const int Trials = 200;
        for (int trial = 0; trial < Trials; trial++)
        {
            var stamp = new Stamp(12);
            MoffatKernel.Draw(stamp, new MoffatKernel.Area(0, 0, 25, 25), Moffat.Round(12 + random.NextDouble() - 0.5, 12 + random.NextDouble() - 0.5, 2.2, 3), true);
            for (int y = 0; y < 25; y++)
            {
                for (int x = 0; x < 25; x++)
                {
                    ref float v = ref stamp.Pixels[(y * stamp.Stride) + x];
                    v = (2000 * v) + (float)(4 * Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble()));
                }
            }

            MoffatFit.Outcome found = new MoffatFit(12).Fit(stamp, AdaptiveMoments.Measure(stamp, 12, 12, 2, 0), 3, false, 4, double.NaN, 7);
            Assert.True(found.Converged);
            fits.Add(found.Model.Fwhm);
            stated += found.FwhmError / Trials;
        }

        double mean = fits.Average(), scatter = Math.Sqrt(fits.Sum(f => (f - mean) * (f - mean)) / (Trials - 1));

        // 200 trials give the scatter to 5 %; three of those.
        Assert.InRange(stated / scatter, 0.85, 1.15);
        Assert.Equal(Moffat.Round(0, 0, 2.2, 3).Fwhm, mean, 4 * scatter / Math.Sqrt(Trials) + 0.005);
    }

    [Theory]
    [InlineData(1.5, 2.5, 2e-3)]
    [InlineData(1.5, 5, 4e-3)]
    [InlineData(3, 3.5, 2e-4)]
    [InlineData(6, 8, 1e-4)]
    public void The_series_integrates_over_pixels(double alpha, double beta, double tolerance)
    {
        // Truth: 40 x 40 points a pixel (midpoints: off by 1/24 of the curvature over 1600, 1e-5 of the peak here).
        const int N = 40;
        var stamp = new Stamp(8);
        MoffatKernel.DrawRound(stamp, new MoffatKernel.Area(0, 0, 17, 17), 8.31, 7.9, new PixelSeries(alpha, beta));
        double peak = (beta - 1) / (Math.PI * alpha * alpha), inside = 0, truly = 0;
        for (int y = 0; y < 17; y++)
        {
            for (int x = 0; x < 17; x++)
            {
                double sum = 0;
                for (int b = 0; b < N; b++)
                {
                    for (int a = 0; a < N; a++)
                    {
                        double dx = x - 8.31 - 0.5 + ((a + 0.5) / N), dy = y - 7.9 - 0.5 + ((b + 0.5) / N);
                        sum += peak * Math.Pow(1 + (((dx * dx) + (dy * dy)) / (alpha * alpha)), -beta) / (N * N);
                    }
                }

                Assert.Equal(sum, stamp[x, y], tolerance * peak);
                inside += stamp[x, y];
                truly += sum;
            }
        }

        Assert.Equal(truly, inside, tolerance);
    }

    [Fact]
    public void Every_width_draws_the_series_like_the_scalar_twin()
    {
        var series = new PixelSeries(2.1, 3.3);
        for (int width = 1; width <= 20; width++)
        {
            var area = new MoffatKernel.Area(2, 3, width, 7);
            Stamp truth = new(12), found = new(12);
            MoffatKernel.DrawRoundScalar(truth, area, 12.2, 6.9, series);
            foreach (Action kernel in new[] { () => MoffatKernel.DrawRoundLanes<Lanes128>(found, area, 12.2, 6.9, series), () => MoffatKernel.DrawRoundLanes<Lanes256>(found, area, 12.2, 6.9, series), () => MoffatKernel.DrawRoundLanes<Lanes512>(found, area, 12.2, 6.9, series) })
            {
                Array.Clear(found.Pixels);
                kernel();
                for (int k = 0; k < truth.Pixels.Length; k++)
                {
                    Assert.Equal(truth.Pixels[k], found.Pixels[k], 1e-6 * series.Amplitude);
                }
            }
        }
    }

    [Fact]
    public void Every_width_multiplies_like_the_scalar_twin()
    {
        const int Count = 48, C = MoffatKernel.Columns;
        var random = new Random(8);
        var space = new MoffatKernel.Space(80);
        for (int i = 0; i < space.Columns.Length; i++)
        {
            // Beyond the columns' used part stands what must not count.
            space.Columns[i] = i % space.Stride < Count ? random.NextSingle() - 0.3f : 1e6f;
        }

        float[] truth = new float[C * C], found = new float[C * C];
        MoffatKernel.ProductsScalar(space, Count, truth);
        foreach (Action kernel in new[] { () => MoffatKernel.ProductsLanes<Lanes128>(space, Count, found), () => MoffatKernel.ProductsLanes<Lanes256>(space, Count, found), () => MoffatKernel.ProductsLanes<Lanes512>(space, Count, found) })
        {
            Array.Clear(found);
            kernel();
            for (int k = 0; k < truth.Length; k++)
            {
                Assert.Equal(truth[k], found[k], 1e-5);
            }
        }

        Assert.Equal(truth[^1], MoffatKernel.ChiSquare(space, Count), 1e-5);
    }

    [Fact]
    public void Every_width_fills_and_draws_like_the_scalar_twin()
    {
        var stamp = new Stamp(12);
        MoffatKernel.Draw(stamp, new MoffatKernel.Area(0, 0, 25, 25), Moffat.Round(12.2, 11.9, 2.2, 3), true);
        var m = new Moffat { A = 0.05, X = 12.1, Y = 12.05, P = 0.25, K = 0.02, R = 0.2, Beta = 2.7 };
        for (int width = 1; width <= 20; width++)
        {
            var area = new MoffatKernel.Area(2, 3, width, 7);
            foreach (bool fine in new[] { false, true })
            {
                var scalar = new MoffatKernel.Space(41 * 25);
                MoffatKernel.FillScalar(stamp, area, m, 1e-6f, 1e-4f, fine, scalar);
                Compare<Lanes128>();
                Compare<Lanes256>();
                Compare<Lanes512>();

                void Compare<T>()
                    where T : struct, ILanes<T>
                {
                    var vector = new MoffatKernel.Space(41 * 25);
                    MoffatKernel.FillLanes<T>(stamp, area, m, 1e-6f, 1e-4f, fine, vector);
                    for (int c = 0; c <= Moffat.Count; c++)
                    {
                        for (int i = 0; i < area.Padded * area.Height; i++)
                        {
                            float a = scalar.Columns[(c * scalar.Stride) + i], b = vector.Columns[(c * vector.Stride) + i];

                            // Single-precision power function: 1e-6 relative, and of the column's scale where it passes zero.
                            Assert.Equal(a, b, 1e-5 * (Math.Abs(a) + 1));
                        }
                    }

                    var drawn = new Stamp(12);
                    MoffatKernel.DrawLanes<T>(drawn, area, m, fine);
                    var truth = new Stamp(12);
                    MoffatKernel.DrawScalar(truth, area, m, fine);
                    for (int i = 0; i < drawn.Pixels.Length; i++)
                    {
                        Assert.Equal(truth.Pixels[i], drawn.Pixels[i], 1e-6 * 0.05);
                    }
                }
            }
        }
    }
}
