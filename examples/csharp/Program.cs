using System.Globalization;
using StarAssay.Engine.Decisions;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;
using StarAssay.Engine.Stars;

namespace StarAssay.Example;

/// <summary>From a frame to a verdict in C# alone: draws a star field, measures it, and holds a claim against it.</summary>
/// <remarks><c>dotnet run --project examples/csharp -- 2.0</c> asks for a half-flux radius of at most 2.0 arcsec.</remarks>
public static class Program
{
    /// <summary>Runs it.</summary>
    /// <param name="args">The claim's limit in arcsec; 2.5 when there is none.</param>
    /// <returns>0 when the claim is met, 1 when it is not, 2 when these data do not decide.</returns>
    public static int Main(string[] args)
    {
        ArgumentNullException.ThrowIfNull(args);
        double limit = args.Length > 0 ? double.Parse(args[0], CultureInfo.InvariantCulture) : 2.5;
        RunContext context = RunContext.Default;

        // A frame as a camera writes it, with its truth. With your own frame, put its pixels into RawPixels instead.
        var request = new StarFieldRequest
        {
            Telescope = new SimulatedTelescope { ApertureMm = 115, FocalLengthMm = 760 },
            Sky = new SimulatedSky { SeeingFwhmArcsec = 3, BackgroundElectronsPerS = 8 },
            RandomStars = 250,
            FaintestRate = 1000,
            SeparationPix = 30,
            Seed = 7,
        };
        ushort[] adu = new ushort[request.Detector.Width * request.Detector.Height];
        StarFieldTruth truth = StarFieldDrawing.Draw(request, adu, context);
        var frame = new Frame
        {
            Name = "drawn field",
            Pixels = RawPixels.FromUInt16(adu, request.Detector.Width, request.Detector.Height),
            GainElectronsPerAdu = request.Detector.GainElectronsPerAdu,
            ReadNoiseElectrons = request.Detector.ReadNoiseElectrons,
            SaturationAdu = truth.SaturationAdu,
            PitchUm = request.Detector.PitchUm,
            ExposureS = request.ExposureS,
        };

        StarField field = StarMeasurement.Measure(new StarRequest { Frame = frame, FocalLengthMm = request.Telescope.FocalLengthMm, FilterWavelengthNm = 550 }, context);
        foreach (Quantity q in field.Quantities)
        {
            Say($"{q.Definition.Label}: {q.Value.Value:F3} ± {q.Value.Uncertainty:F3} {q.Value.Unit}");
        }

        Say($"half-flux radius: of the light within {field.OuterRadiusPx * field.PixelScaleArcsecPerPx:F2} arcsec; drawn with a seeing of {request.Sky.SeeingFwhmArcsec:F1} arcsec at 500 nm");

        var claim = new Claim { Name = "sharp stars", Kind = ClaimKind.Requirement, Upper = limit, Unit = "arcsec" };
        Decision decision = Judgment.Of(claim, StarQuantities.Hfr, field);
        Say($"{claim.Name}, {claim.Range}: {decision.Verdict}");
        Say(decision.Reason);
        if (decision.NextTest.Length > 0)
        {
            Say(decision.NextTest);
        }

        return (int)decision.Verdict;
    }

    private static void Say(FormattableString text) => Console.WriteLine(text.ToString(CultureInfo.InvariantCulture));

    private static void Say(string text) => Console.WriteLine(text);
}
