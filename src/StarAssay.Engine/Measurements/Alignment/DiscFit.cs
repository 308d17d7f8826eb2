using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Alignment;

/// <summary>The diffraction image of the defocused star fitted to its pixels: aberrations, seeing, defocus, place, light, and where the obstruction stands
/// and how large it is.</summary>
/// <remarks>Coma and an obstruction out of the middle both move the shadow. Coma does so alike on both sides of focus, and makes one side of the
/// rings brighter; the obstruction moves its shadow to opposite sides.</remarks>
internal sealed class DiscFit : IDisposable
{
    /// <summary>Modes that are fitted: Noll 5 to 22, and where those leave a misfit to 37, which are the order 7 and the ring after it.</summary>
    public static readonly ZernikeIndex[] Modes = [.. ZernikeIndex.NollRange(5, 37)];

    // Noll 5 to 11 first; to 22 as a rule.
    private const int FirstModes = 7, UsualModes = 18;

    // Chi squared of two images from which finer errors are looked for: coma of order 7 is taken for that of order 3 where it is not in the model. One
    // image does not tell them from a seeing of another shape.
    private const double FinerFrom = 1.05;

    /// <summary>Step of the changed pupils, in radii.</summary>
    public const double Step = 0.004;

    /// <summary>Quantities of the obstruction: x, y and size.</summary>
    public const int OfObstruction = 3;

    // Rounds of finding them.
    private const int Rounds = 5;

    private static readonly double[] Seeings = [0.4, 1.2, 2.5, 4.5];

    private readonly AlignmentRequest request;
    private readonly DiscCutout cutout;
    private readonly Team team;
    private PairModel model;
    private PairOptics optics;

    private DiscFit(AlignmentRequest request, DiscCutout cutout, PairState start, Team team)
    {
        (this.request, this.cutout, this.team) = (request, cutout, team);
        optics = new PairOptics(request.Pupil, request.FocalRatio, cutout.PitchUm, Band(request), [.. Band(request).Select(_ => 1.0 / Band(request).Length)], 0,
            cutout.Data.Window);
        PairState[] near = Approach(start);
        optics = optics with { Stretch = [.. near[0].DefocusNm.Select(d => 1 + (optics.DistanceUm(d, request.FocalLengthMm) * 1e-3 / request.FocalLengthMm))] };
        model = Model(optics, near[0]);
        Fit = new JointFit([model], [cutout.Data], near, team);
        Finish();
    }

    /// <summary>Where the fit stands.</summary>
    public JointFit Fit { get; private set; }

    /// <summary>What was held fixed, the pupil as found.</summary>
    public PairOptics Optics => optics;

    /// <summary>The values.</summary>
    public PairState State => Fit.States[0];

    /// <summary>The model at these values.</summary>
    public PairModel Model() => model;

    /// <summary>Covariance of the unknowns of the fit, then of the obstruction's x, y and size (radii of the aperture), photons and misfit.</summary>
    public Matrix<double> Covariance { get; private set; } = Matrix<double>.Build.Dense(1, 1);

    /// <summary>The same from photons alone: the answer of all of these to what the images hold besides.</summary>
    public Matrix<double> Joint { get; private set; } = Matrix<double>.Build.Dense(1, 1);

    /// <summary>Factor on the covariance for misfit.</summary>
    public double Inflation { get; private set; } = 1;

    /// <summary>Chi squared over the degrees of freedom.</summary>
    public double ChiSquared => Fit.Chi2 / Fit.Freedom;

    /// <summary>What was found of a second star, in words; null when there is none.</summary>
    public string? Companion { get; private set; }

    /// <summary>Fits.</summary>
    public static DiscFit Make(AlignmentRequest request, DiscCutout cutout, PairState start, Team team) => new(request, cutout, start, team);

    /// <summary>What a step of the obstruction's x, y and size makes of the images; nothing without one.</summary>
    public BesideChanges Obstruction()
    {
        var beside = new BesideChanges();
        if (optics.Shape.Obstruction > 0)
        {
            void Add(Func<PupilShape, PupilShape> step) => beside.Add(Fit, o => o with { Shape = step(o.Shape) });
            Add(s => s with { ObstructionX = s.ObstructionX + Step });
            Add(s => s with { ObstructionY = s.ObstructionY + Step });
            Add(s => s with { Obstruction = s.Obstruction + Step });
        }

        return beside;
    }

    /// <inheritdoc/>
    public void Dispose() => model.Dispose();

    // Five wavelengths over a wide band, one in a narrow one: 2 % of the wavelength move the tenth ring by a fifth of its width.
    private static double[] Band(AlignmentRequest request)
    {
        int count = request.BandNm > 0.02 * request.WavelengthNm ? 5 : 1;
        return [.. Enumerable.Range(0, count).Select(k => request.WavelengthNm + (request.BandNm * (((k + 0.5) / count) - 0.5)))];
    }

    private PairModel Model(PairOptics of, PairState at, PairModelGrade grade = PairModelGrade.Exact) =>
        new(of, Modes, 1.03 * at.DefocusNm.Max(Math.Abs), team, grade);

    // From the size of the discs to the neighbourhood of the minimum, on a rough model of one wavelength.
    private PairState[] Approach(PairState start)
    {
        using PairModel rough = Model(optics with { WavelengthsNm = [optics.MeanWavelengthNm], Weights = [1] }, start, PairModelGrade.Start);
        StartScan.Run(rough, cutout.Data, start, [.. Seeings.Select(s => Seeing.StrengthFromFwhm(s, optics.MeanWavelengthNm, request.ApertureMm))]);
        var fit = new JointFit([rough], [cutout.Data], [start], team);
        fit.Refresh();
        fit.Reweight(0.2);
        fit.SolveLight();
        using var quick = new QuickHessian([rough], team);
        (int Modes, double Slack, double Tolerance, int Steps)[] stages = [(0, 0.1, 0.02, 6), (FirstModes, 0.05, 0.01, 12), (FirstModes, 0.03, 0.003, 8)];
        foreach ((int modes, double slack, double tolerance, int steps) in stages)
        {
            fit.ModeCount = modes;
            fit.Reweight(slack);
            Descent.Run(fit, tolerance, steps, quick);
        }

        return fit.States;
    }

    private void Finish()
    {
        Fit.ModeCount = FirstModes;
        Fit.SeparateSeeing = cutout.Count > 1;
        Fit.Refresh();
        Fit.Reweight(0.02);
        Fit.SolveLight();
        MaskWild();
        Descend(0.02, 0.002);
        Fit.ModeCount = UsualModes;
        Descend(0.01, 0.002);
        FollowObstruction();
        MaskWild();
        Descend(0, 1e-5);
        if (cutout.Count == 2 && ChiSquared > FinerFrom)
        {
            Fit.ModeCount = Modes.Length;
            Descend(0.003, 1e-4);
            FollowObstruction();
            Descend(0, 1e-5);
        }

        TakeOutCompanion();
        MaskWild();
        Descend(0, 2e-6);
        if (MoveObstruction())
        {
            Descend(0, 2e-6);
        }

        SetCovariance();
    }

    private void FollowObstruction()
    {
        for (int round = 0; round < Rounds && MoveObstruction(); round++)
        {
            Descend(0.003, 1e-4);
        }
    }

    private void Descend(double slack, double tolerance)
    {
        using var quick = new QuickHessian([model], team);
        Fit.Reweight(slack);
        Descent.Run(Fit, tolerance, 12, quick);
    }

    private void MaskWild()
    {
        for (int k = 0; k < 2; k++)
        {
            WildPixels.Mask(Fit.Residuals[0][k], cutout.Data.Use[k], cutout.Data.Window);
        }
    }

    private void TakeOutCompanion()
    {
        var search = new CompanionSearch(model, cutout.Data);
        double before = Fit.Chi2 / Fit.Points;
        PairState kept = State.Copy();
        search.Look(State, Fit.Residuals[0], before);
        if (!search.Found)
        {
            return;
        }

        for (int round = 0; round < 3; round++)
        {
            search.Refine(State);
            Descend(0, 1e-5);
        }

        double after = Fit.Chi2 / Fit.Points;
        if ((before - after) * Fit.Points > 80 * Math.Max(1, after) && before - after > 0.1 * (before - 1) && search.Counts)
        {
            Companion = search.Text;
            return;
        }

        search.GiveUp();
        Fit.Place([kept]);
        Descend(0, 1e-5);
    }

    // One step of Gauss and Newton for place and size of the obstruction; false when it was too short to matter.
    private bool MoveObstruction()
    {
        BesideChanges beside = Obstruction();
        if (beside.Count == 0 || beside.Followed(Fit) is not (var normal, var side) || PositiveDefinite.Inverse(normal) is not { } scatter)
        {
            return false;
        }

        Vector<double> shares = scatter * side;
        double scale = Math.Max(1, Fit.Chi2 / Fit.Points);
        if (shares * (normal * shares) < 0.02 * scale)
        {
            return false;
        }

        double most = 0.06 / Step, length = Math.Min(1, most / shares.L2Norm());
        PupilShape shape = optics.Shape;
        double size = Math.Clamp(shape.Obstruction + (length * Step * shares[2]), 0.02, 0.85);
        double x = shape.ObstructionX + (length * Step * shares[0]), y = shape.ObstructionY + (length * Step * shares[1]);
        double inside = Math.Min(1, 0.98 * (1 - size) / Math.Max(Math.Sqrt((x * x) + (y * y)), 1e-9));
        optics = optics with { Shape = shape with { Obstruction = size, ObstructionX = inside * x, ObstructionY = inside * y } };
        JointFit before = Fit;
        PairModel next = Model(optics, State);
        Fit = new JointFit([next], [cutout.Data], [State.Copy()], team) { ModeCount = before.ModeCount, SeparateSeeing = before.SeparateSeeing };
        model.Dispose();
        model = next;
        Fit.Refresh();
        Fit.Reweight(0.003);
        return true;
    }

    // Joint covariance of the fit's unknowns and of the obstruction: the unknowns follow the obstruction by their response.
    private void SetCovariance()
    {
        Fit.Reweight(0);
        BesideChanges beside = Obstruction();
        (Matrix<double> equations, Vector<double> sides) = Fit.Derivatives.NormalEquations(beside);
        int n = Fit.Unknowns.Count;
        Matrix<double> inverse = PositiveDefinite.Inverse(equations.SubMatrix(0, n, 0, n))
            ?? throw new CannotMeasureException("alignment.not-determined", "The disc does not determine its model. Defocus more, or choose a brighter star.",
                request.Frames[0].Name);
        Joint = Matrix<double>.Build.Dense(n + OfObstruction, n + OfObstruction);
        Joint.SetSubMatrix(0, 0, inverse);
        if (beside.Count > 0)
        {
            (Matrix<double> normal, _, Matrix<double> answers) = BesideChanges.Eliminated(inverse, equations, sides, sides.SubVector(0, n));
            Matrix<double> follow = answers / Step;
            Matrix<double> scatter = (PositiveDefinite.Inverse(normal) ?? Matrix<double>.Build.DenseDiagonal(3, 3, 1 / (Step * Step))) * (Step * Step);
            Joint.SetSubMatrix(0, 0, inverse + (follow * scatter * follow.Transpose()));
            Joint.SetSubMatrix(0, n, -(follow * scatter));
            Joint.SetSubMatrix(n, 0, -(follow * scatter).Transpose());
            Joint.SetSubMatrix(n, n, scatter);
        }

        double chi = ChiSquared, area = 0;
        for (int k = 0; k < 2; k++)
        {
            area += ResidualPatches.Pixels(Fit.Residuals[0][k], cutout.Data.Window, optics.BlurPixels(State.DefocusNm[k])) / 2;
        }

        // A wrong model errs by patches: chi squared times the pixels over which its excess hangs together.
        Inflation = chi <= 1.02 ? Math.Max(1, chi) : chi * Math.Max(1, area);
        Covariance = Joint * Inflation;
    }
}
