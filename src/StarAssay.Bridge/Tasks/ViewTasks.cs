using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.Views;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge.Tasks;

/// <summary>What a wavefront looks like. The map comes as an array, rows along x, NaN outside the pupil.</summary>
[TaskList]
internal static class ViewTasks
{
    [EngineTask("views.pupil")]
    public static object Pupil(TaskInput input, RunContext context)
    {
        PupilCall call = input.Request<PupilCall>();
        foreach (int noll in call.NollTerms)
        {
            InputException.RequireRange(noll, 1, 1000, "noll", "");
        }

        ZernikeIndex[] modes = [.. call.NollTerms.Select(ZernikeIndex.FromNoll), .. call.Names.Select(ZernikeIndex.FromName)];
        return PupilMap.FromZernike(call.Pupil, modes, [.. call.CoefficientsNm], call.FocalRatio, call.WavelengthNm, call.Samples);
    }

    [EngineTask("views.focused-image")]
    public static object FocusedImage(TaskInput input, RunContext context)
    {
        Call call = input.Request<Call>();
        return FocusedImages.Draw(new FocusedImageRequest(Map(input, call), call.HalfWidthLambdaN, call.Samples, call.ShiftUm), context);
    }

    [EngineTask("views.modulation")]
    public static object Modulation(TaskInput input, RunContext context)
    {
        Call call = input.Request<Call>();
        PupilMap map = Map(input, call);
        return Modulations.Compute(call.Perfect ? map.Perfect() : map, call.Samples, call.HalfWidthLambdaN);
    }

    [EngineTask("views.contrast")]
    public static object Contrast(TaskInput input, RunContext context)
    {
        ContrastCall call = input.Request<ContrastCall>();
        return Contrasts.Compute(
            new ContrastRequest
            {
                Map = Map(input, new Call { FocalRatio = call.FocalRatio, WavelengthNm = call.WavelengthNm }),
                ApertureMm = call.ApertureMm,
                DetailArcsec = call.DetailArcsec,
                WavelengthsNm = call.WavelengthsNm,
                Weights = call.PassedShares(),
                FocusUm = call.FocusUm,
            },
            context);
    }

    [EngineTask("views.targets")]
    public static object Targets(TaskInput input, RunContext context)
    {
        TargetsCall call = input.Request<TargetsCall>();
        return TargetViews.Draw(
            new TargetViewsRequest
            {
                Map = Map(input, new Call { FocalRatio = call.FocalRatio, WavelengthNm = call.WavelengthNm }),
                ApertureMm = call.ApertureMm,
                SeeingArcsec = call.SeeingArcsec,
                WavelengthsNm = call.WavelengthsNm,
                Weights = call.PassedShares(),
                FocusUm = call.FocusUm,
                DoubleStar = call.DoubleStar,
                Planet = call.Planet,
                EdgeAngleDeg = call.EdgeAngleDeg,
            },
            context);
    }

    [EngineTask("views.star-test")]
    public static object StarTest(TaskInput input, RunContext context)
    {
        StarTestCall call = input.Request<StarTestCall>();
        return StarTests.Draw(
            new StarTestRequest
            {
                Map = Map(input, new Call { FocalRatio = call.FocalRatio, WavelengthNm = call.WavelengthNm }),
                ApertureMm = call.ApertureMm,
                DefocusWaves = call.DefocusWaves,
                SeeingArcsec = call.SeeingArcsec,
            },
            context);
    }

    [EngineTask("views.star-colors")]
    public static object StarColor(TaskInput input, RunContext context)
    {
        StarColorsCall call = input.Request<StarColorsCall>();
        return StarColors.Draw(
            new StarColorsRequest
            {
                Map = Map(input, new Call { FocalRatio = call.FocalRatio, WavelengthNm = call.WavelengthNm }),
                ApertureMm = call.ApertureMm,
                WavelengthsNm = call.WavelengthsNm,
                FocusUm = call.FocusUm,
                StepUm = call.StepUm,
                Kelvin = call.Kelvin,
                DefocusUm = call.DefocusUm,
                HaloArcsec = call.HaloArcsec,
                SeeingArcsec = call.SeeingArcsec,
            },
            context);
    }

    [EngineTask("views.color-matching")]
    public static object Matching(TaskInput input, RunContext context)
    {
        MatchingCall call = input.Request<MatchingCall>();
        (double[,] weights, double leftOut) = ColorMatching.OfStar(call.WavelengthsNm, call.Kelvin);
        double[,] functions = new double[3, call.WavelengthsNm.Count];
        for (int k = 0; k < call.WavelengthsNm.Count; k++)
        {
            for (int c = 0; c < 3; c++)
            {
                functions[c, k] = ColorMatching.At(c, call.WavelengthsNm[k]);
            }
        }

        return new MatchingResult(functions, weights, leftOut);
    }

    [EngineTask("views.round-rings")]
    public static object RoundRings(TaskInput input, RunContext context) => StarTests.Round(input.Request<RoundRingsRequest>());

    [EngineTask("views.shadow")]
    public static object Shadow(TaskInput input, RunContext context)
    {
        Call call = input.Request<Call>();
        return ShadowTests.Draw(new ShadowRequest(Map(input, call), call.Mask, call.ShiftUm, call.PeriodUm, call.PositionUm, call.AngleDeg));
    }

    [EngineTask("views.interferogram")]
    public static object Interferogram(TaskInput input, RunContext context)
    {
        Call call = input.Request<Call>();
        return Interferograms.Draw(new InterferogramRequest(Map(input, call), call.TiltXFringes, call.TiltYFringes, call.Passes));
    }

    [EngineTask("views.quick")]
    public static object Quick(TaskInput input, RunContext context)
    {
        QuickCall call = input.Request<QuickCall>();
        return QuickViews.Draw(new QuickViewsRequest(Map(input, call), call.Points, call.HalfWidthLambdaN, call.DefocusWaves, call.RulingWaves,
            call.RulingLines, call.KnifeLambdaN, call.TiltXFringes), context);
    }

    [EngineTask("views.seeing")]
    public static object Seen(TaskInput input, RunContext context)
    {
        SeeingCall call = input.Request<SeeingCall>();
        return SeeingViews.Draw(new SeeingViewRequest(Map(input, call), call.ApertureMm, call.SeeingFwhmArcsec), context);
    }

    private static PupilMap Map(TaskInput input, Call call)
    {
        PupilMap map = new()
        {
            WavefrontNm = Square(input, "wavefront_nm"),
            Amplitude = input.Has("amplitude") ? Square(input, "amplitude") : null,
            FocalRatio = call.FocalRatio,
            WavelengthNm = call.WavelengthNm,
        };
        return map;
    }

    private static double[,] Square(TaskInput input, string name)
    {
        IReadOnlyList<int> shape = input.Shape(name);
        if (shape.Count != 2)
        {
            throw new InputException("views.map", $"'{name}' has {shape.Count} axes; a map has two.", name);
        }

        double[,] map = new double[shape[0], shape[1]];
        ReadOnlySpan<double> flat = input.Doubles(name).Span;
        for (int i = 0; i < flat.Length; i++)
        {
            map[i / shape[1], i % shape[1]] = flat[i];
        }

        return map;
    }

    internal sealed record PupilCall
    {
        public required double FocalRatio { get; init; }

        public required double WavelengthNm { get; init; }

        public required int Samples { get; init; }

        public PupilShape Pupil { get; init; } = PupilShape.Clear;

        public IReadOnlyList<int> NollTerms { get; init; } = [];

        public IReadOnlyList<string> Names { get; init; } = [];

        public IReadOnlyList<double> CoefficientsNm { get; init; } = [];
    }

    internal sealed record ContrastCall : LightCall
    {
        public required IReadOnlyList<double> DetailArcsec { get; init; }
    }

    internal sealed record TargetsCall : LightCall
    {
        public IReadOnlyList<double> SeeingArcsec { get; init; } = [0];

        public DoubleStar? DoubleStar { get; init; }

        public PlanetDisc? Planet { get; init; }

        public double EdgeAngleDeg { get; init; } = double.NaN;
    }

    internal sealed record StarTestCall
    {
        public required double FocalRatio { get; init; }

        public required double WavelengthNm { get; init; }

        public required double ApertureMm { get; init; }

        public double DefocusWaves { get; init; } = 5;

        public double SeeingArcsec { get; init; }
    }

    internal sealed record StarColorsCall : LightCall
    {
        public IReadOnlyList<double> StepUm { get; init; } = [];

        public required double Kelvin { get; init; }

        public required double DefocusUm { get; init; }

        public double HaloArcsec { get; init; }

        public double SeeingArcsec { get; init; }
    }

    internal sealed record MatchingCall
    {
        public required IReadOnlyList<double> WavelengthsNm { get; init; }

        public required double Kelvin { get; init; }
    }

    internal sealed record MatchingResult(double[,] Functions, double[,] Weights, double LeftOut);

    /// <summary>A pupil and the light that it is looked through with.</summary>
    internal record LightCall
    {
        public required double FocalRatio { get; init; }

        public required double WavelengthNm { get; init; }

        public required double ApertureMm { get; init; }

        public IReadOnlyList<double> WavelengthsNm { get; init; } = [];

        public IReadOnlyList<double> Weights { get; init; } = [];

        public IReadOnlyList<double> FocusUm { get; init; } = [];

        public string Passband { get; init; } = string.Empty;

        public double[] PassedShares() =>
            [.. WavelengthsNm.Select((nm, k) => Weights[k] * (Passband.Length == 0 ? 1 : Passbands.At(Passband, nm)))];
    }

    internal sealed record QuickCall : Call
    {
        public int Points { get; init; } = 128;

        public double DefocusWaves { get; init; } = 3;

        public double RulingWaves { get; init; } = 2;

        public double RulingLines { get; init; } = 4;

        public double KnifeLambdaN { get; init; }
    }

    internal sealed record SeeingCall : Call
    {
        public required double ApertureMm { get; init; }

        public double SeeingFwhmArcsec { get; init; }
    }

    internal record Call
    {
        public required double FocalRatio { get; init; }

        public required double WavelengthNm { get; init; }

        public double HalfWidthLambdaN { get; init; } = 5;

        public int Samples { get; init; } = 129;

        public double ShiftUm { get; init; }

        public bool Perfect { get; init; }

        public Mask Mask { get; init; }

        public double PeriodUm { get; init; } = 100;

        public double PositionUm { get; init; }

        public double AngleDeg { get; init; }

        public double TiltXFringes { get; init; }

        public double TiltYFringes { get; init; }

        public int Passes { get; init; } = 1;
    }
}
