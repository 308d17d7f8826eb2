using System.Runtime.InteropServices;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>A wavefront fitted to a pair that no camera took; see <see cref="RehearsalAttribute"/>.</summary>
internal static class WavefrontRehearsal
{
    private const double ApertureMm = 100;
    private const double FocalLengthMm = 700;
    private const double WavelengthNm = 540;

    // Six waves to either side: 8 F^2 times the wavelength each.
    private const double DefocusUm = 6 * 8 * 49 * 0.54;

    /// <summary>Looks at two images and fits them.</summary>
    [Rehearsal("wavefront")]
    public static WavefrontFit Measure(RunContext context)
    {
        Frame[] pair = [Draw(-DefocusUm, context), Draw(DefocusUm, context)];
        foreach (Frame frame in pair)
        {
            _ = FrameInspector.Inspect(frame, context);
        }

        return WavefrontFits.Measure(new WavefrontRequest
        {
            Frames = pair,
            ApertureMm = ApertureMm,
            FocalLengthMm = FocalLengthMm,
            WavelengthsNm = [WavelengthNm],
        }, context);
    }

    private static Frame Draw(double focusUm, RunContext context)
    {
        var detector = new DetectorResponse { Width = 96, Height = 96 };
        var adu = new ushort[detector.Width * detector.Height];
        SingleStarDrawing.Draw(new SingleStarRequest
        {
            Telescope = new SimulatedTelescope
            {
                ApertureMm = ApertureMm,
                FocalLengthMm = FocalLengthMm,
                NollTerms = [6, 8, 11],
                CoefficientsNm = [15, 15, 15],
            },
            Detector = detector,
            FocusPositionUm = focusUm,
            Electrons = 3e6,
        }, adu, context);
        byte[] bytes = MemoryMarshal.AsBytes(adu.AsSpan()).ToArray();
        return new Frame
        {
            Pixels = new RawPixels(bytes, PixelFormat.UInt16, !BitConverter.IsLittleEndian, detector.Width, detector.Height),
            Name = "rehearsal",
            GainElectronsPerAdu = detector.GainElectronsPerAdu,
            ReadNoiseElectrons = detector.ReadNoiseElectrons,
            PitchUm = detector.PitchUm,
        };
    }
}
