using System.Runtime.InteropServices;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// Says beforehand what so many pairs of a star would give: draws a few pairs with what the air leaves in a finite exposure, fits them as any
/// others, and simulates nights from the covariances of these fits.
/// </summary>
public static class PairPlanning
{
    private const double BiasAdu = 200;
    private const int FinestAir = 66;

    /// <summary>Samples across the map: Strehl ratio and RMS of modes up to order 8 need no more.</summary>
    private const int MapSize = 48;

    /// <summary>Simulates the nights.</summary>
    /// <exception cref="CannotMeasureException">Pairs like these cannot be measured at all.</exception>
    [EngineTask("wavefront.plan")]
    public static PairPlan Plan(PairPlanRequest request, RunContext context)
    {
        request.RequireValid();
        var nights = new SimulatedNights(request);
        var doubts = new List<string>();
        double chi2 = 0;
        int doubted = 0;
        for (int d = 0; d < request.Draws; d++)
        {
            WavefrontRequest pair = Fitted(request, Drawn(request, d, context));
            chi2 += WavefrontFits.Judged(pair, context, (prepared, run, judgment, notes) =>
            {
                string[] against = [.. notes.Where(n => n.Level == NoteLevel.Doubt).Select(n => n.Text)];
                doubts.AddRange(against);
                doubted += against.Length > 0 ? 1 : 0;
                nights.Simulate(d, run, judgment, against.Length > 0);
                return run.ChiSquared;
            });
            context.Report((d + 1.0) / request.Draws, "simulating nights");
        }

        return new PairPlan(nights.Quantities(), chi2 / request.Draws, doubted, request.Draws, [.. doubts.Distinct()]);
    }

    private static WavefrontRequest Fitted(PairPlanRequest request, Frame[] frames) => new()
    {
        Frames = frames,
        ApertureMm = request.ApertureMm,
        FocalLengthMm = request.FocalLengthMm,
        Pupil = request.Pupil,
        WavelengthsNm = [request.WavelengthNm],
        KnownTo = request.KnownTo,
        MapSize = MapSize,
    };

    /// <summary>Both images of one pair: long-exposure blur, and of every image its own remainder of the air in modes up to order 10.</summary>
    private static Frame[] Drawn(PairPlanRequest request, int draw, RunContext context)
    {
        double focalRatio = request.FocalLengthMm / request.ApertureMm;
        double arcsecPerPixel = request.PitchUm / 1000 / request.FocalLengthMm * Seeing.ArcsecPerRadian;
        double disc = Defocus.BlurDiameter(request.DefocusUm, focalRatio) / request.PitchUm;
        int side = 2 * (int)Math.Clamp(Math.Ceiling(((2.9 * disc) + (8 * request.SeeingArcsec / arcsecPerPixel)) / 2), 24, 512);
        var detector = new DetectorResponse
        {
            Width = side,
            Height = side,
            PitchUm = request.PitchUm,
            GainElectronsPerAdu = request.GainElectronsPerAdu,
            ReadNoiseElectrons = request.ReadNoiseElectrons,
            FullWellElectrons = 1e9,
            BiasAdu = BiasAdu,
        };
        var random = new SeededRandom(request.Seed, draw, 7);
        var frames = new Frame[2];
        for (int k = 0; k < 2; k++)
        {
            var noll = new List<int>(request.Noll);
            var nm = new List<double>(request.CoefficientsNm);
            for (int j = 5; j <= FinestAir; j++)
            {
                noll.Add(j);
                nm.Add(random.NextNormal() * Math.Sqrt(AirOfOneImage(request, ZernikeIndex.FromNoll(j).N)));
            }

            ushort[] adu = new ushort[side * side];
            SingleStarTruth truth = SingleStarDrawing.Draw(new SingleStarRequest
            {
                Telescope = new SimulatedTelescope
                {
                    ApertureMm = request.ApertureMm,
                    FocalLengthMm = request.FocalLengthMm,
                    Obstruction = request.Pupil.Obstruction,
                    Vanes = request.Pupil.Vanes,
                    NollTerms = noll,
                    CoefficientsNm = nm,
                },
                Sky = new SimulatedSky { SeeingFwhmArcsec = Seeing.ScaleFwhm(request.SeeingArcsec, request.WavelengthNm, 500) },
                Detector = detector,
                Passband = new SimulatedPassband { LowNm = request.WavelengthNm - 1, HighNm = request.WavelengthNm + 1, Samples = 1 },
                Electrons = request.LightElectrons,
                ExposureS = request.ExposureS,
                FocusPositionUm = (k == 0 ? -1 : 1) * request.DefocusUm,
                Seed = (request.Seed * 1000) + (2 * draw) + k,
            }, adu, context);
            byte[] stored = MemoryMarshal.AsBytes(adu.AsSpan()).ToArray();
            frames[k] = new Frame
            {
                Pixels = new RawPixels(stored, PixelFormat.UInt16, !BitConverter.IsLittleEndian, side, side, zero: -BiasAdu),
                Name = k == 0 ? "planned inside" : "planned outside",
                GainElectronsPerAdu = request.GainElectronsPerAdu,
                ReadNoiseElectrons = request.ReadNoiseElectrons,
                SaturationAdu = truth.SaturationAdu - BiasAdu,
                PitchUm = request.PitchUm,
                ExposureS = request.ExposureS,
            };
        }

        return frames;
    }

    /// <summary>Variance that the air leaves in one mode of one image, nm^2.</summary>
    internal static double AirOfOneImage(PairPlanRequest request, int order)
    {
        double strength = Seeing.StrengthFromFwhm(request.SeeingArcsec, request.WavelengthNm, request.ApertureMm);
        double apertures = request.KnownTo.WindMs * request.ExposureS / (request.ApertureMm * 1e-3);
        return AirVariance.Mean(order, apertures) * strength * Math.Pow(request.WavelengthNm / (2 * Math.PI), 2);
    }
}
