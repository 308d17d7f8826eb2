using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>What all stars of a pair of frames share.</summary>
/// <param name="Optics">Pupil, scale, wavelength, window.</param>
/// <param name="Modes">Modes on offer, Noll 5 upwards.</param>
/// <param name="LargestDefocusNm">The grids must hold this.</param>
/// <param name="FocalLengthMm">Focal length.</param>
/// <param name="Readers">Of both frames.</param>
/// <param name="Fields">Stars of both frames.</param>
internal sealed record SharedSetup(PairOptics Optics, ZernikeIndex[] Modes, double LargestDefocusNm, double FocalLengthMm, FrameReader[] Readers,
    StarField[] Fields);

/// <summary>Where the fit of a star starts, and what it holds.</summary>
/// <param name="DefocusPerPixel">W020 of each frame over the star's diameter, nm/pixel, with sign.</param>
/// <param name="Seeing">(D/r0)^(5/3) of each frame; NaN = looked for on a grid, with the defocus.</param>
/// <param name="FitSeeing">Whether the seeing is one of the unknowns.</param>
/// <param name="CoefficientNm">Modes of a star; what is not fitted stays as it is here.</param>
/// <param name="FreeModes">How many modes are fitted.</param>
internal sealed record StarStart(double[] DefocusPerPixel, double[] Seeing, bool FitSeeing, Func<PairStar, double[]> CoefficientNm, int FreeModes)
{
    /// <summary>Whether defocus and seeing are looked for first.</summary>
    public bool Scans => double.IsNaN(Seeing[0]);
}

/// <summary>One worker that fits one star after the other with the pair model, whose tables all stars share.</summary>
internal sealed class StarFitter : IDisposable
{
    // Seeings to start from, FWHM in arcsec.
    private static readonly double[] Seeings = [1.2, 2.5, 4.5];

    // A step that gains less of chi squared moves no mode by a tenth of its photon uncertainty.
    private const double Enough = 3e-3;

    private readonly SharedSetup shared;
    private readonly PairModel model;
    private readonly QuickHessian hessian;
    private readonly PairData data;
    private readonly double apertureMm;
    private JointFit? fit;

    /// <summary>Makes the tables.</summary>
    public StarFitter(SharedSetup shared, CancellationToken cancel)
    {
        this.shared = shared;
        var team = new Team(1, cancel);

        // The coarser grid moves tilts by 0.05 um and modes by 0.03 nm (a drawn pair of 1e6 electrons a star), and halves the time.
        model = new PairModel(shared.Optics, shared.Modes, shared.LargestDefocusNm, team, PairModelGrade.Start);
        hessian = new QuickHessian([model], team);
        data = new PairData(shared.Optics.Window, model.Memory);
        apertureMm = shared.FocalLengthMm / shared.Optics.FocalRatio;
    }

    /// <summary>Fits one star.</summary>
    public StarWavefront Fit(PairStar star, StarStart start)
    {
        PairOptics optics = shared.Optics;
        (double[] dx, double[] dy, double[] electrons) = StarCutout.Fill(data, shared.Readers, shared.Fields, star);
        var state = new PairState { CoefficientsNm = start.CoefficientNm(star) };

        // Coma moves the light's middle, at which the star was found, by its mean slope over the open pupil.
        double slope = Math.Sqrt(8) * (1 + (3 * optics.Shape.Obstruction * optics.Shape.Obstruction));
        (double comaX, double comaY) = (slope * state.CoefficientsNm[StartModes.ComaX], slope * state.CoefficientsNm[StartModes.ComaY]);
        for (int k = 0; k < 2; k++)
        {
            double most = shared.LargestDefocusNm;
            state.DefocusNm[k] = Math.Clamp(start.DefocusPerPixel[k] * star.Diameter[k], -most, most);
            (state.TiltXNm[k], state.TiltYNm[k]) = ((dx[k] / optics.PixelsPerTiltNm) - comaX, (dy[k] / optics.PixelsPerTiltNm) - comaY);
            state.Flux[k] = electrons[k];
            state.Seeing[k] = start.Scans ? 0 : start.Seeing[k];
        }

        if (start.Scans)
        {
            StartScan.Run(model, data, state, [.. Seeings.Select(s => Seeing.StrengthFromFwhm(s, optics.MeanWavelengthNm, apertureMm))]);
        }

        // Its memory is the model's: one for all stars.
        fit ??= new JointFit([model], [data], [state], model.Team);
        fit.FitSeeing = start.FitSeeing;
        fit.SeparateSeeing = true;
        fit.ModeCount = 0;
        fit.Place([state]);
        fit.Reweight(0.2);
        fit.SolveLight();
        if (start.Scans)
        {
            fit.Reweight(0.1);
            Descent.Run(fit, 0.02, 6, hessian);
        }

        fit.ModeCount = start.FreeModes;
        if (start.Scans)
        {
            // A wave of coma is many steps away, and the sharper weights of dark rings have minima on the way.
            fit.Reweight(0.05);
            Descent.Run(fit, 0.01, 24, hessian);
        }

        fit.Reweight(0.01);
        return LastStep(start.FreeModes, Descent.Run(fit, Enough, 12, hessian));
    }

    /// <inheritdoc/>
    public void Dispose()
    {
        hessian.Dispose();
        model.Dispose();
    }

    /// <summary>One step with the final weights from close by; the inverse Hessian makes the variances too, good to some ten per cent.</summary>
    private StarWavefront LastStep(int modes, Matrix<double>? inverse)
    {
        JointFit done = fit!;
        done.Reweight(0);
        FitUnknowns at = done.Unknowns;
        double[] variance = [.. Enumerable.Repeat(double.NaN, modes)];
        (double focus, double travel) = (double.NaN, double.NaN);
        double um = 8e-3 * shared.Optics.FocalRatio * shared.Optics.FocalRatio;
        if (inverse is { } c)
        {
            PairState[] before = done.States;
            double chi2 = done.Chi2;
            done.Place(at.Moved(before, c * done.Derivatives.Gradient()));
            if (!(done.Chi2 <= chi2))
            {
                done.Place(before);
            }

            int a = at.Image(0, 0), b = at.Image(0, 1);
            focus = um * um * (c[a, a] + c[b, b] + (2 * c[a, b])) / 4;
            travel = um * um * (c[a, a] + c[b, b] - (2 * c[a, b]));
            variance = [.. Enumerable.Range(0, modes).Select(j => c[j, j])];
        }

        PairState s = done.States[0];
        return new StarWavefront([.. s.DefocusNm.Select(d => shared.Optics.DistanceUm(d, shared.FocalLengthMm))], s.CoefficientsNm, s.Seeing, focus,
            travel, variance, done.Chi2 / done.Freedom);
    }
}
