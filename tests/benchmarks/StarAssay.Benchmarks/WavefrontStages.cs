using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Benchmarks;

/// <summary>Where the time of the bare wavefront fit goes: each part by itself, for the two images of 128 x 128 pixels and the
/// 34 modes of the table in docs/performance.md. Least of some repeats.</summary>
internal static class WavefrontStages
{
    private const int Window = 128;
    private const int LastNoll = 37;
    private const double DistanceUm = 8 * 0.54 * 8 * 49;

    /// <summary>Prints milliseconds, part by part.</summary>
    public static void Run(int threads, int repeats, bool[] kernels)
    {
        foreach (bool gaussian in kernels)
        {
            RefinementRequest request = Draw(gaussian);
            var clock = new StageClock();
            for (int k = 0; k < repeats; k++)
            {
                Once(request, threads, clock);
            }

            Console.WriteLine($"{(gaussian ? "Gaussian, 1 wavelength" : "Kolmogorov, 3 wavelengths")}, {threads} threads");
            clock.Print();
        }
    }

    private static void Once(RefinementRequest request, int threads, StageClock clock)
    {
        var context = new RunContext(threads);
        long before = GC.GetTotalAllocatedBytes(true);
        Refinement found = clock.Time("all of it", () => WavefrontRefinement.Measure(request, context));
        clock.Note("fresh memory, kB", (GC.GetTotalAllocatedBytes(true) - before) / 1e3);
        clock.Note("steps", found.Iterations);
        clock.Note("cost", found.Cost);
        (PairOptics optics, PairData data, PairState state) = WavefrontRefinement.Prepare(request);
        var team = new Team(threads, CancellationToken.None);
        ZernikeIndex[] modes = ZernikeIndex.NollRange(5, LastNoll);
        using PairModel model = clock.Time("grids, tables, memory", () => new PairModel(optics, modes, state.DefocusNm.Max(Math.Abs), team));
        using QuickHessian quick = clock.Time("the same for quick Hessians", () => new QuickHessian([model], team));
        var fit = new JointFit([model], [data], [state], team) { ModeCount = modes.Length };
        found.CoefficientNm.CopyTo(state.CoefficientsNm, 0);
        clock.Time("first evaluation", () => { fit.Refresh(); return 0; });
        fit.WeightByBaseVariance();
        clock.Time("evaluation", () => { fit.Refresh(); return 0; });
        clock.Time("first gradient", fit.Derivatives.Gradient);
        clock.Time("gradient", fit.Derivatives.Gradient);
        clock.Time("first quick Hessian", () => quick.At(fit));
        clock.Time("quick Hessian", () => quick.At(fit));
        clock.Time("exact J^T J, the first time", () => fit.Derivatives.NormalEquations());
        (MathNet.Numerics.LinearAlgebra.Matrix<double> normal, _) = clock.Time("exact J^T J", () => fit.Derivatives.NormalEquations());
        clock.Time("its inverse", () => PositiveDefinite.Inverse(normal));
    }

    // Images from the engine's own simulator of diffraction would tie this to it; here the model itself draws them.
    private static RefinementRequest Draw(bool gaussian)
    {
        var random = new Random(7);
        var request = new RefinementRequest
        {
            Window = Window,
            ApertureMm = 120,
            FocalLengthMm = 840,
            PitchUm = 3.76,
            Pupil = PupilShape.Clear with { Obstruction = 0.33 },
            WavelengthsNm = gaussian ? [540] : [525, 540, 555],
            Weights = gaussian ? [1] : [1, 1, 1],
            DistancesUm = [-DistanceUm, DistanceUm],
            PlacesPx = [0.4, -0.7, -0.9, 0.3],
            Flux = [1e7, 1e7],
            Background = [20, 20],
            SeeingArcsec = 2,
            Gaussian = gaussian,
            LastNoll = LastNoll,
        };
        (PairOptics optics, _, PairState truth) = WavefrontRefinement.Prepare(request with
        {
            Electrons = new float[2 * Window * Window],
            Variance = new float[2 * Window * Window]
        });
        ZernikeIndex[] modes = ZernikeIndex.NollRange(5, LastNoll);
        for (int j = 0; j < modes.Length; j++)
        {
            truth.CoefficientsNm[j] = 60 * (random.NextDouble() - 0.5) / Math.Pow(modes[j].N, 1.5) * 5;
        }

        using var model = new PairModel(optics, modes, truth.DefocusNm.Max(Math.Abs), new Team(1, CancellationToken.None));
        model.Evaluate(truth);
        float[] electrons = new float[2 * Window * Window];
        float[] variance = new float[2 * Window * Window];
        for (int k = 0; k < 2; k++)
        {
            ReadOnlySpan<float> unit = model.Pixels.Part(k);
            for (int i = 0; i < unit.Length; i++)
            {
                int at = (k * Window * Window) + i;
                double mean = (1e7 * unit[i]) + 20;
                double normal = Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
                variance[at] = (float)(mean + 9);
                electrons[at] = (float)(mean + (normal * Math.Sqrt(variance[at])));
            }
        }

        return request with { Electrons = electrons, Variance = variance, SeeingArcsec = 1.7 };
    }
}
