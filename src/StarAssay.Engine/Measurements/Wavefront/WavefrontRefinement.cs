using System.Text.Json.Serialization;
using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>One prepared pair, starting values and pixel variances: the bare fit, for those who prepare images themselves.</summary>
public sealed record RefinementRequest
{
    /// <summary>Electrons of both images, inside first, rows along x, lowest y first; 2 x window x window.</summary>
    [JsonIgnore]
    [HandedOver("electrons")]
    public ReadOnlyMemory<float> Electrons { get; init; }

    /// <summary>Fixed variances of the pixels, electrons squared, in the same order.</summary>
    [JsonIgnore]
    [HandedOver("variance")]
    public ReadOnlyMemory<float> Variance { get; init; }

    /// <summary>Pixels along each side, a multiple of 16.</summary>
    public required int Window { get; init; }

    /// <summary>Entrance pupil, mm.</summary>
    public required double ApertureMm { get; init; }

    /// <summary>Focal length, mm.</summary>
    public required double FocalLengthMm { get; init; }

    /// <summary>Pixel pitch, um.</summary>
    public required double PitchUm { get; init; }

    /// <summary>Pupil.</summary>
    public PupilShape Pupil { get; init; } = PupilShape.Clear;

    /// <summary>Wavelengths, nm.</summary>
    public required double[] WavelengthsNm { get; init; }

    /// <summary>Shares of light.</summary>
    public required double[] Weights { get; init; }

    /// <summary>Sensor positions to start from, um, negative inside.</summary>
    public required double[] DistancesUm { get; init; }

    /// <summary>Places of the star from the window's pixel window/2: x0, y0, x1, y1, pixels.</summary>
    public required double[] PlacesPx { get; init; }

    /// <summary>Light of each image to start from, electrons.</summary>
    public required double[] Flux { get; init; }

    /// <summary>Background of each image to start from, electrons a pixel.</summary>
    public required double[] Background { get; init; }

    /// <summary>Seeing to start from, FWHM arcsec.</summary>
    public required double SeeingArcsec { get; init; }

    /// <summary>True: a Gaussian instead of Kolmogorov's profile.</summary>
    public bool Gaussian { get; init; }

    /// <summary>Modes from Noll 5 to this one.</summary>
    public int LastNoll { get; init; } = 37;

    /// <summary>Ends when a step gains less than this in chi squared.</summary>
    public double Tolerance { get; init; } = 1e-3;
}

/// <summary>What the bare fit found.</summary>
/// <param name="CoefficientNm">Noll 5 upwards, nm.</param>
/// <param name="CovarianceNm2">Of the coefficients, not scaled by misfit.</param>
/// <param name="Cost">Sum of squared weighted residuals.</param>
/// <param name="DistancesUm">Sensor positions, um.</param>
/// <param name="SeeingArcsec">FWHM.</param>
/// <param name="Iterations">Steps.</param>
public sealed record Refinement(double[] CoefficientNm, double[,] CovarianceNm2, double Cost, double[] DistancesUm, double SeeingArcsec, int Iterations);

/// <summary>The bare fit at fixed weights.</summary>
public static class WavefrontRefinement
{
    private const double GaussianFwhm = 2.3548200450309493;

    /// <summary>Fits from the given start.</summary>
    [EngineTask("wavefront.refine")]
    public static Refinement Measure(RefinementRequest request, RunContext context)
    {
        int w = request.Window;
        if (w < 16 || w % Fft.Lanes != 0 || request.Electrons.Length != 2 * w * w || request.Variance.Length != 2 * w * w)
        {
            throw new InputException("wavefront.window", $"The window is {w}; it must be a multiple of 16, with 2 x {w} x {w} electrons and variances.",
                "window");
        }

        using var memory = new MatrixLease();
        (PairOptics optics, PairData data, PairState state) = Prepare(request, memory);
        var team = new Team(context.Threads, context.Cancel);
        ZernikeIndex[] modes = ZernikeIndex.NollRange(5, request.LastNoll);
        double least = FitStrategy.LeastSeeing(state);
        (JointFit fit, Matrix<double> covariance) = Descend(request, optics with { LeastSeeing = least }, data, state, modes, team);
        if (fit.States[0].Seeing.Min() < least)
        {
            // Sharper than it was said to be: on with all that there is to see.
            int before = fit.Iterations;
            (fit, covariance) = Descend(request, optics, data, fit.States[0], modes, team);
            fit.CountSteps(before);
        }

        PairState end = fit.States[0];
        double umPerNm = 8e-3 * optics.FocalRatio * optics.FocalRatio;
        return new Refinement(end.CoefficientsNm, covariance.ToArray(), fit.Chi2, [.. end.DefocusNm.Select(d => d * umPerNm)],
            Seeing(request, optics, end.Seeing[0]), fit.Iterations);
    }

    // A fit whose models are no longer there, and the modes' covariance.
    private static (JointFit Fit, Matrix<double> Covariance) Descend(RefinementRequest request, PairOptics optics, PairData data, PairState from,
        ZernikeIndex[] modes, Team team)
    {
        using var model = new PairModel(optics, modes, from.DefocusNm.Max(Math.Abs), team);
        using var quick = new QuickHessian([model], team);
        var fit = new JointFit([model], [data], [from], team) { ModeCount = modes.Length };
        fit.Refresh();
        fit.WeightByBaseVariance();
        Descent.Run(fit, request.Tolerance / Math.Max(1, fit.Chi2 / fit.Points), 60, quick);
        Matrix<double> inverse = PositiveDefinite.Inverse(fit.Derivatives.NormalMatrix())
            ?? throw new CannotMeasureException("wavefront.singular", "The images do not determine all unknowns. Use fewer modes.");
        return (fit, inverse.SubMatrix(0, modes.Length, 0, modes.Length));
    }

    /// <summary>What is held fixed, the pixels, and where the fit starts.</summary>
    internal static (PairOptics Optics, PairData Data, PairState Start) Prepare(RefinementRequest request, MatrixLease? memory = null)
    {
        int w = request.Window;
        double sum = request.Weights.Sum();
        var optics = new PairOptics(request.Pupil, request.FocalLengthMm / request.ApertureMm, request.PitchUm, request.WavelengthsNm,
            [.. request.Weights.Select(v => v / sum)], 0, w)
        { Gaussian = request.Gaussian };
        var data = new PairData(w, memory);
        var state = new PairState
        {
            CoefficientsNm = new double[request.LastNoll - 4],
            Flux = [.. request.Flux],
            Background = [.. request.Background],
        };
        for (int k = 0; k < 2; k++)
        {
            request.Electrons.Span.Slice(k * w * w, w * w).CopyTo(data.Electrons[k]);
            request.Variance.Span.Slice(k * w * w, w * w).CopyTo(data.BaseVariance[k]);
            Array.Fill(data.Use[k], 1f);
            state.DefocusNm[k] = optics.DefocusNm(request.DistancesUm[k]);
            state.TiltXNm[k] = request.PlacesPx[2 * k] / optics.PixelsPerTiltNm;
            state.TiltYNm[k] = request.PlacesPx[(2 * k) + 1] / optics.PixelsPerTiltNm;
            state.Seeing[k] = Strength(request, optics, request.SeeingArcsec);
        }

        return (optics, data, state);
    }

    private static double Strength(RefinementRequest r, PairOptics o, double arcsec) => r.Gaussian
        ? Math.Pow(arcsec / GaussianFwhm / PixelScale.ArcsecPerPx(r.PitchUm, r.FocalLengthMm), 2)
        : Optics.Seeing.StrengthFromFwhm(arcsec, o.MeanWavelengthNm, r.ApertureMm);

    private static double Seeing(RefinementRequest r, PairOptics o, double strength) => r.Gaussian
        ? Math.Sqrt(Math.Max(0, strength)) * PixelScale.ArcsecPerPx(r.PitchUm, r.FocalLengthMm) * GaussianFwhm
        : Optics.Seeing.FwhmFromStrength(strength, o.MeanWavelengthNm, r.ApertureMm);
}
