using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Tests.Measurements.Wavefront;

/// <summary>Truth: the plain double-precision model of <see cref="ReferencePair"/>, and differences of the model itself.</summary>
public class PairModelTests
{
    private static readonly ZernikeIndex[] Modes = ZernikeIndex.NollRange(5, 15);

    [Theory]
    [InlineData(5.0, 3.76, 0.0, 0.8, 0.0, false)] // undersampled: a pixel is wider than lambda N
    [InlineData(7.0, 3.76, 0.35, 1.5, 0.0, false)]
    [InlineData(15.0, 3.76, 0.0, 1.2, 0.0, false)]
    [InlineData(12.0, 3.76, 0.0, 1.2, 0.01, false)] // each image with the scale of its own distance
    [InlineData(7.0, 3.76, 0.35, 0.9, 0.0, true)] // a Gaussian, by weights on the fine grid
    [InlineData(5.0, 3.76, 0.2, 0.6, 0.01, true)]
    [InlineData(7.0, 3.76, 0.35, 0.05, 0.0, true)] // too narrow for that grid: by its spectrum
    public void Model_follows_the_plain_double_sum(double n, double pitch, double obstruction, double seeing, double stretch, bool gaussian)
    {
        var optics = new PairOptics(new PupilShape { Obstruction = obstruction }, n, pitch, [520, 550], [0.4, 0.6], 0.1, 32)
        {
            Stretch = [1 - stretch, 1 + (0.9 * stretch)],
            Gaussian = gaussian,
        };
        double defocus = 24 * pitch / (8e-3 * n) * 0.75;
        PairState state = Some(seeing, defocus);
        var model = new PairModel(optics, Modes, defocus, new Team(1, CancellationToken.None));
        model.Evaluate(state);
        for (int k = 0; k < 2; k++)
        {
            double[,] truth = ReferencePair.Image(optics, Modes, state, k);
            double peak = truth.Cast<double>().Max();
            double worst = 0;
            for (int j = 0; j < 32; j++)
            {
                for (int i = 0; i < 32; i++)
                {
                    float v = model.Pixels.Part(k)[(j * 32) + i];
                    worst = Math.Max(worst, Math.Abs(v - truth[j, i]));
                }
            }

            // Two pupil rasters of different density differ at the rim by about (step)^2; 3e-4 of the peak is below one
            // photon in a pixel that holds 10^7.
            Assert.InRange(worst / peak, 0, 1e-3);
        }
    }

    /// <summary>As thin as the grid's samples, along its axes and slanting: what they take from the image, by sums over a pupil of three times as many
    /// samples. What rasters of different density make of the rim is in both images and cancels; how much light goes far aside, which is the
    /// star's flux in a fit, is not compared.</summary>
    [Theory]
    [InlineData(0.0, 0.008)]
    [InlineData(31.0, 0.002)]
    public void Vanes_cast_the_shadow_of_the_plain_double_sum(double angle, double within)
    {
        const int Window = 48;
        const double Pitch = 3.76, Defocus = 36 * Pitch / (8e-3 * 7.0) * 0.9;
        PairState state = Some(0.5, Defocus);
        Vane[] vanes = [.. Enumerable.Range(0, 4).Select(v => new Vane(angle + (90 * v), 0.008))];
        double[] Drawn(Vane[] with, bool plainly)
        {
            var optics = new PairOptics(new PupilShape { Obstruction = 0.3, Vanes = with }, 7.0, Pitch, [540], [1.0], 0.1, Window);
            using var model = new PairModel(optics, Modes, Defocus, new Team(1, CancellationToken.None));
            model.Evaluate(state);
            double[] image = plainly ? [.. ReferencePair.Image(optics, Modes, state, 0, 400).Cast<double>()]
                : [.. model.Pixels.Part(0).ToArray().Select(v => (double)v)];
            double light = image.Sum();
            return [.. image.Select(v => v / light)];
        }

        double[] truth = [.. Drawn(vanes, true).Zip(Drawn([], true), (with, without) => with - without)];
        double[] shadow = [.. Drawn(vanes, false).Zip(Drawn([], false), (with, without) => with - without)];
        double deepest = truth.Max(Math.Abs);
        Assert.InRange(shadow.Zip(truth, (a, b) => Math.Abs(a - b)).Max() / deepest, 0, within);
    }

    /// <summary>What seeing hides is not drawn. Against the model that draws all, for a star of 1e8 electrons, brighter than any pair is: how much the
    /// difference adds to chi squared, image and derivatives by a bar of each unknown.</summary>
    [Theory]
    [InlineData(6.0, 6.0, 20.0, 0.3, false, 0.76)]
    [InlineData(9.0, 9.0, 8.0, 0.0, false, 0.76)]
    [InlineData(5.0, 4.0, 3.0, 0.25, false, 1)] // blurred too little for a coarser grid
    [InlineData(7.0, 3.76, 0.6, 0.3, true, 1)]
    public void What_seeing_hides_need_not_be_drawn(double n, double pitch, double seeing, double obstruction, bool gaussian, double samples)
    {
        const int Window = 96;
        const double Electrons = 1e8;
        Vane[] vanes = obstruction > 0 ? [new Vane(20, 0.015), new Vane(140, 0.015), new Vane(260, 0.015)] : [];
        double defocus = 60 * pitch / (8e-3 * n);
        var all = new PairOptics(new PupilShape { Obstruction = obstruction, Vanes = vanes }, n, pitch, [535, 545], [0.5, 0.5], 0.05, Window)
        {
            Gaussian = gaussian,
        };
        PairState state = Some(seeing, defocus);
        state.Seeing[1] = state.Seeing[0];
        (float[] Image, float[][] Units, int Samples) Drawn(PairOptics optics)
        {
            using var model = new PairModel(optics, Modes, defocus, new Team(1, CancellationToken.None));
            model.Evaluate(state);
            SplitMatrix[] units = [.. Enumerable.Range(0, Modes.Length + PairJacobian.ExtraUnits).Select(_ => new SplitMatrix(Window, Window))];
            model.Jacobian.Fill(state, Modes.Length, units);
            return (model.Pixels.Part(0).ToArray(), [.. units.Select(u => u.Part(0).ToArray())], model.Grids.Size);
        }

        var full = Drawn(all);
        var less = Drawn(all with { LeastSeeing = 0.69 * seeing });
        Assert.InRange(less.Samples / (double)full.Samples, 0.2, samples);
        double Squares(Func<int, double> electrons) => Enumerable.Range(0, Window * Window)
            .Sum(i => electrons(i) * electrons(i) / ((Electrons * Math.Max(0, full.Image[i])) + 100));
        Assert.InRange(Squares(i => Electrons * (less.Image[i] - full.Image[i])), 0, 0.05);
        for (int unit = 0; unit < full.Units.Length; unit++)
        {
            double own = Squares(i => Electrons * full.Units[unit][i]);
            double off = Squares(i => Electrons * (less.Units[unit][i] - full.Units[unit][i]));
            Assert.InRange(off / own, 0, 1e-5); // steps and bars need derivatives to a third of a percent
        }
    }

    [Theory]
    [InlineData(true, 0.0, false, 7.0)]
    [InlineData(false, 0.01, false, 7.0)]
    [InlineData(true, 0.01, true, 7.0)]
    [InlineData(false, 0.0, false, 9.5)] // the optics' highest frequency lies below the fine grid's
    [InlineData(false, 0.0, true, 7.0, 4000)] // the derivatives' field is wider than the window and its edge
    public void Adjoint_equals_the_products_with_exact_derivatives(bool separate, double stretch, bool gaussian, double n, double largestNm = 1400)
    {
        (PairModel model, PairState state, JointFit fit) = SmallFit(separate, stretch, gaussian, n, largestNm);
        (Matrix<double> normal, Vector<double> direct) = fit.Derivatives.NormalEquations();
        Vector<double> backwards = fit.Derivatives.Gradient();
        _ = model;
        _ = state;
        for (int i = 0; i < direct.Count; i++)
        {
            // The derivative images are made on a field of 1.3 discs, the adjoint on the whole one: what is cut off is a
            // thousandth of the largest product that this derivative can have with these residuals.
            Assert.Equal(direct[i], backwards[i], 1e-3 * Math.Sqrt(normal[i, i] * fit.Chi2));
        }
    }

    [Theory]
    [InlineData(0.0, false)]
    [InlineData(0.01, false)]
    [InlineData(0.01, true)]
    public void Derivatives_equal_differences_of_the_model(double stretch, bool gaussian)
    {
        (PairModel model, PairState state, _) = SmallFit(separate: false, stretch, gaussian);
        SplitMatrix[] units = [.. Enumerable.Range(0, Modes.Length + PairJacobian.ExtraUnits).Select(_ => new SplitMatrix(32, 32))];
        model.Evaluate(state);
        model.Jacobian.Fill(state, Modes.Length, units);
        (int Unit, Func<PairState, double, PairState> Change, double Step)[] cases =
        [
            (0, (s, h) => Coefficient(s, 0, h), 2),
            (6, (s, h) => Coefficient(s, 6, h), 2),
            (Modes.Length, (s, h) => s with { DefocusNm = [s.DefocusNm[0] + h, s.DefocusNm[1] + h] }, 2),
            (Modes.Length + 1, (s, h) => s with { TiltXNm = [s.TiltXNm[0] + h, s.TiltXNm[1] + h] }, 2),
            (Modes.Length + 2, (s, h) => s with { TiltYNm = [s.TiltYNm[0] + h, s.TiltYNm[1] + h] }, 2),
            (Modes.Length + 3, (s, h) => s with { Seeing = [s.Seeing[0] + h, s.Seeing[1] + h] }, 0.05),
        ];
        foreach ((int unit, Func<PairState, double, PairState> change, double step) in cases)
        {
            model.Evaluate(change(state, step));
            float[] up = [.. model.Pixels.Re.ToArray(), .. model.Pixels.Im.ToArray()];
            model.Evaluate(change(state, -step));
            float[] down = [.. model.Pixels.Re.ToArray(), .. model.Pixels.Im.ToArray()];
            float[] exact = [.. units[unit].Re.ToArray(), .. units[unit].Im.ToArray()];
            double error = 0;
            double size = 0;
            for (int i = 0; i < up.Length; i++)
            {
                double difference = (up[i] - down[i]) / (2 * step);
                error += (difference - exact[i]) * (difference - exact[i]);
                size += difference * difference;
            }

            // Rounding of a difference of two single-precision images over a step of this size.
            Assert.InRange(Math.Sqrt(error / size), 0, 5e-3);
        }
    }

    [Trait("Compares", "bits")]
    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public void Any_number_of_workers_gives_the_same_bits(bool gaussian)
    {
        float[][] images = [.. new[] { 1, 2, 5 }.Select(threads =>
        {
            var optics = new PairOptics(PupilShape.Clear, 7, 3.76, [550], [1], 0, 32) { Gaussian = gaussian };
            var model = new PairModel(optics, Modes, 2000, new Team(threads, CancellationToken.None));
            model.Evaluate(Some(1, 2000));
            return model.Pixels.Re.ToArray();
        })];
        Assert.Equal(images[0], images[1]);
        Assert.Equal(images[0], images[2]);
    }

    [Fact]
    public void Weights_and_spectrum_blur_alike()
    {
        // One and a half pixels of blur: both ways hold, so they must agree to single precision.
        var optics = new PairOptics(new PupilShape { Obstruction = 0.3 }, 7, 3.76, [550], [1], 0.1, 64) { Gaussian = true };
        using var memory = new MatrixLease();
        var team = new Team(1, CancellationToken.None);
        const int Size = 192;
        double cut = optics.PitchUm / (0.55 * 7);
        var spectrum = new FourierBlur(new BlurStage(Size, 2, 64, cut, optics.TurbulenceLog, memory), 0.1, memory);
        var weights = new GaussianBlur(Size, 2, 64, 0.1, memory);
        SplitMatrix image = Smooth(memory, Size);
        SplitMatrix[] results = [.. Enumerable.Range(0, 4).Select(_ => memory.Matrix(64, 64))];
        IPairBlur[] both = [spectrum, weights];
        for (int b = 0; b < 2; b++)
        {
            both[b].Set(new(1.1), new(1.6));
            both[b].ToPixels(image, results[b], team);
            both[b].ByStrength(results[2 + b], team);
        }

        for (int pair = 0; pair < 2; pair++)
        {
            float[] a = [.. results[2 * pair].Re.ToArray(), .. results[2 * pair].Im.ToArray()];
            float[] w = [.. results[(2 * pair) + 1].Re.ToArray(), .. results[(2 * pair) + 1].Im.ToArray()];
            float largest = a.Max(Math.Abs);
            Assert.InRange(a.Zip(w, (x, y) => Math.Abs(x - y)).Max() / largest, 0, 2e-5);
        }
    }

    [Fact]
    public void A_trail_is_a_slanting_Gaussian_of_the_stated_variances()
    {
        // A round Gaussian spot stays a Gaussian, whose covariance is the sum of all: integrated over each pixel by an 8 x 8 rule.
        using var memory = new MatrixLease();
        var optics = new PairOptics(new PupilShape(), 7, 3.76, [550], [1], 0.1, 64) { Gaussian = true };
        const int Size = 192;
        var blur = new FourierBlur(new BlurStage(Size, 2, 64, optics.PitchUm / (0.55 * 7), optics.TurbulenceLog, memory), 0.1, memory);
        SplitMatrix image = Smooth(memory, Size), pixels = memory.Matrix(64, 64), slopes = memory.Matrix(64, 64), longer = memory.Matrix(64, 64);
        var team = new Team(1, CancellationToken.None);
        const double Step = 0.02;
        blur.Set(new(1.1 + Step, new Trail(1.2, 0.9, -0.6)), new(1.6));
        blur.ToPixels(image, longer, team);
        blur.Set(new(1.1, new Trail(1.2, 0.9, -0.6)), new(1.6));
        blur.ToPixels(image, pixels, team);
        blur.ByStrength(slopes, team);

        // 30 fine samples squared are 7.5 pixels squared; the spot's fine samples sum to 60 pi.
        double across = 7.5 + 1.1 + 0.1 + 1.2, xx = across + 0.9, yy = across - 0.9, xy = -0.6, det = (xx * yy) - (xy * xy);
        double light = 30 / Math.Sqrt(det);
        double worst = 0, largest = 0, wrongSlope = 0;
        for (int j = 0; j < 64; j++)
        {
            for (int i = 0; i < 64; i++)
            {
                double sum = 0;
                for (int n = 0; n < 64; n++)
                {
                    double x = i - 32 - 2.5 + (((n % 8) - 3.5) / 8), y = j - 32 + 1.5 + (((n / 8) - 3.5) / 8);
                    sum += Math.Exp(-0.5 * ((yy * x * x) - (2 * xy * x * y) + (xx * y * y)) / det) / 64;
                }

                double seen = pixels.Re[(j * pixels.Stride) + i];
                worst = Math.Max(worst, Math.Abs(seen - (sum * light)));
                largest = Math.Max(largest, seen);
                double slope = (longer.Re[(j * longer.Stride) + i] - seen) / Step;
                wrongSlope = Math.Max(wrongSlope, Math.Abs(slope - slopes.Re[(j * slopes.Stride) + i]));
            }
        }

        Assert.InRange(worst / largest, 0, 2e-4);
        Assert.InRange(wrongSlope / largest, 0, 2e-3);
    }

    // Two smooth spots in the middle, dark at the border, with nothing beyond the optics' highest frequency.
    private static SplitMatrix Smooth(MatrixLease memory, int size)
    {
        SplitMatrix image = memory.Matrix(size, size);
        for (int j = 0; j < size; j++)
        {
            for (int i = 0; i < size; i++)
            {
                double x = i - (size / 2), y = j - (size / 2);
                image.Re[(j * image.Stride) + i] = (float)Math.Exp(-(((x - 5) * (x - 5)) + ((y + 3) * (y + 3))) / 60);
                image.Im[(j * image.Stride) + i] = (float)Math.Exp(-(((x + 4) * (x + 4) / 40) + ((y - 6) * (y - 6) / 90)));
            }
        }

        return image;
    }

    private static PairState Coefficient(PairState s, int j, double h)
    {
        PairState copy = s.Copy();
        copy.CoefficientsNm[j] += h;
        return copy;
    }

    private static PairState Some(double seeing, double defocus) => new()
    {
        CoefficientsNm = [30, -20, 25, 10, -12, 8, 40, 5, -6, 7, 3],
        Seeing = [seeing, seeing],
        DefocusNm = [-defocus, 0.9 * defocus],
        TiltXNm = [60, -80],
        TiltYNm = [-40, 30],
    };

    internal static (PairModel Model, PairState State, JointFit Fit) SmallFit(bool separate, double stretch, bool gaussian, double n = 7,
        double largestNm = 1400)
    {
        var optics = new PairOptics(new PupilShape { Obstruction = 0.3 }, n, 3.76, [540, 560], [0.5, 0.5], 0.05, 32)
        {
            Stretch = [1 - stretch, 1 + (0.9 * stretch)],
            Gaussian = gaussian,
        };
        PairState state = Some(1.2, 1300);
        if (separate)
        {
            state.Seeing[1] = 1.5;
        }

        state.Flux[0] = 1e6;
        state.Flux[1] = 8e5;
        state.Background[0] = 20;
        state.Background[1] = 30;
        var team = new Team(2, CancellationToken.None);
        var model = new PairModel(optics, Modes, largestNm, team);
        var data = new PairData(32);
        var random = new Random(5);
        model.Evaluate(state);
        for (int k = 0; k < 2; k++)
        {
            for (int i = 0; i < 32 * 32; i++)
            {
                data.Electrons[k][i] = (float)((state.Flux[k] * model.Pixels.Part(k)[i] * 1.05) + 25 + (200 * (random.NextDouble() - 0.5)));
                data.BaseVariance[k][i] = 25;
                data.Use[k][i] = 1;
            }
        }

        var fit = new JointFit([model], [data], [state], team) { ModeCount = Modes.Length, SeparateSeeing = separate };
        fit.Refresh();
        fit.Reweight(0);
        return (model, state, fit);
    }
}
