using System.Runtime.InteropServices;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>A wavefront fitted to a pair that no camera took; see <see cref="RehearsalAttribute"/>.</summary>
/// <remarks>The images are small, and drawn by the model that fits them: what the measurement does not need is not compiled.</remarks>
internal static class WavefrontRehearsal
{
    private const double ApertureMm = 100;
    private const double FocalLengthMm = 700;
    private const double WavelengthNm = 540;
    private const double PitchUm = 3.76;

    // Three waves and a half to either side: discs of 28 pixels.
    private const double DefocusNm = 3.5 * WavelengthNm;
    private const int Size = 96, Window = 64;

    /// <summary>Looks at two images and fits them.</summary>
    [Rehearsal("wavefront")]
    public static WavefrontFit Measure(RunContext context)
    {
        Frame[] pair = Draw(context);
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

    private static Frame[] Draw(RunContext context)
    {
        var modes = new FitModes(0, 11, 11);
        var optics = new PairOptics(PupilShape.Clear, FocalLengthMm / ApertureMm, PitchUm, [WavelengthNm], [1], 0, Window);
        using var model = new PairModel(optics, modes, 1.06 * DefocusNm, new Team(1, context.Cancel), PairModelGrade.Start);
        double[] coefficients = new double[modes.Count];
        Array.Fill(coefficients, 8);
        double strength = Seeing.StrengthFromFwhm(2, WavelengthNm, ApertureMm);
        model.Evaluate(new PairState { CoefficientsNm = coefficients, DefocusNm = [-DefocusNm, DefocusNm], Seeing = [strength, strength] });
        return [Camera(model.Pixels.Re), Camera(model.Pixels.Im)];
    }

    // Light of a bright star with noise of its own size, so that the fit finds nothing wrong.
    private static Frame Camera(ReadOnlySpan<float> light)
    {
        const double Electrons = 1e6, Sky = 400, Border = (Size - Window) / 2;
        var adu = new ushort[Size * Size];
        var noise = new Random(1);
        for (int i = 0; i < adu.Length; i++)
        {
            int x = (i % Size) - (int)Border, y = (i / Size) - (int)Border;
            double electrons = Sky + (x >= 0 && y >= 0 && x < Window && y < Window ? Electrons * Math.Max(0, light[(y * Window) + x]) : 0);

            // The sum of four numbers from 0 to 1 scatters by the root of a third.
            double normal = (noise.NextDouble() + noise.NextDouble() + noise.NextDouble() + noise.NextDouble() - 2) * Math.Sqrt(3);
            adu[i] = (ushort)Math.Max(0, electrons + (Math.Sqrt(electrons) * normal));
        }

        byte[] bytes = MemoryMarshal.AsBytes(adu.AsSpan()).ToArray();
        return new Frame
        {
            Pixels = new RawPixels(bytes, PixelFormat.UInt16, !BitConverter.IsLittleEndian, Size, Size),
            Name = "rehearsal",
            GainElectronsPerAdu = 1,
            ReadNoiseElectrons = 2,
            PitchUm = PitchUm,
        };
    }
}
