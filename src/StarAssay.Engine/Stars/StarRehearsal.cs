using System.Buffers.Binary;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>Stars measured on a frame that no camera took; see <see cref="RehearsalAttribute"/>.</summary>
internal static class StarRehearsal
{
    private const int Side = 192;
    private const int Spacing = 24;
    private const double Sigma = 1.6;

    // Cameras write 16-bit words, which FITS stores with their sign bit turned.
    private const int Zero = 32768;

    /// <summary>Looks at the frame and measures it.</summary>
    [Rehearsal("stars")]
    public static StarField Measure(RunContext context)
    {
        Frame frame = Draw();
        _ = FrameInspector.Inspect(frame, context);
        return StarMeasurement.Measure(new StarRequest { Frame = frame }, context);
    }

    private static Frame Draw()
    {
        var bytes = new byte[2 * Side * Side];
        uint state = 1;
        for (int k = 0; k < Side * Side; k++)
        {
            int x = k % Side, y = k / Side;
            double dx = (x % Spacing) - (Spacing / 2) + (0.1 * (y / Spacing)), dy = (y % Spacing) - (Spacing / 2);
            double star = (6000 + (400 * (x / Spacing))) * Math.Exp(-((dx * dx) + (dy * dy)) / (2 * Sigma * Sigma));

            // Four numbers of a plain congruential generator: noise enough for a sky.
            double noise = 0;
            for (int i = 0; i < 4; i++)
            {
                state = (1664525 * state) + 1013904223;
                noise += (state >> 8) / (double)(1 << 24);
            }

            BinaryPrimitives.WriteInt16BigEndian(bytes.AsSpan(2 * k), (short)(Math.Round(1000 + (20 * (noise - 2)) + star) - Zero));
        }

        return new Frame
        {
            Pixels = new RawPixels(bytes, PixelFormat.Int16, true, Side, Side, 1, Zero),
            Name = "rehearsal",
            GainElectronsPerAdu = 1,
        };
    }
}
