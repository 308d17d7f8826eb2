using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Simulation;

/// <summary>From expected electrons to the numbers a camera writes: photon and read noise, hot pixels, cosmic rays, well, rounding.</summary>
public static class Exposure
{
    /// <summary>Exposes.</summary>
    /// <param name="expected">Expected electrons of light a pixel, rows from the lowest y.</param>
    /// <param name="detector">The camera.</param>
    /// <param name="exposureS">Exposure, s (dark current, hot pixels).</param>
    /// <param name="seed">Seed of this frame's noise.</param>
    /// <param name="cosmicRays">How many cosmic-ray hits.</param>
    /// <param name="adu">Receives the numbers.</param>
    /// <param name="context">Threads and cancellation.</param>
    public static void Expose(
        ReadOnlyMemory<float> expected, DetectorResponse detector, double exposureS, long seed, int cosmicRays, Memory<ushort> adu, RunContext context)
    {
        detector.RequireValid();
        int width = detector.Width;
        if (expected.Length != width * detector.Height || adu.Length != expected.Length)
        {
            throw new InputException("simulation.size", $"The frame has {adu.Length} pixels, the detector {width} x {detector.Height}. Make the array as " +
                "large as the detector.", "image");
        }

        ILookup<int, (int X, double Electrons)> hits = CosmicRays(detector, seed, cosmicRays).ToLookup(h => h.Y, h => (h.X, h.Electrons));
        double top = detector.SaturationAdu;
        Parallel.For(0, detector.Height, context.Parallel, y =>
        {
            var random = new SeededRandom(seed, 1, y);
            ReadOnlySpan<float> from = expected.Span.Slice(y * width, width);
            Span<ushort> to = adu.Span.Slice(y * width, width);
            Span<double> extra = hits.Contains(y) ? new double[width] : default;
            foreach ((int x, double electrons) in hits[y])
            {
                extra[x] += electrons;
            }

            for (int x = 0; x < width; x++)
            {
                double mean = from[x];
                long place = ((long)y * width) + x;
                if (detector.UnevennessRms > 0)
                {
                    mean *= 1 + (detector.UnevennessRms * PatternNormal(detector.PatternSeed, place));
                }

                mean += exposureS * (detector.DarkElectronsPerS + HotRate(detector, place));
                double electrons = random.NextPoisson(mean) + (extra.IsEmpty ? 0 : extra[x]);
                electrons = Math.Min(electrons, detector.FullWellElectrons);
                double level = detector.BiasAdu + ((electrons + (detector.ReadNoiseElectrons * random.NextNormal())) / detector.GainElectronsPerAdu);
                to[x] = (ushort)Math.Clamp(Math.Round(level), 0, top);
            }
        });
    }

    /// <summary>Electrons a second that a hot pixel adds; 0 for the others. The rates spread over two decades, from 5 to 500.</summary>
    internal static double HotRate(DetectorResponse detector, long place)
    {
        if (detector.HotPixelShare == 0)
        {
            return 0;
        }

        double u = SeededRandom.PatternNumber(detector.PatternSeed, place);
        return u < detector.HotPixelShare ? 5 * Math.Pow(100, u / detector.HotPixelShare) : 0;
    }

    // Sum of four uniform numbers of 16 bits, scaled to variance 1: bounded at 3.5 sigma, so no pixel is negative.
    private static double PatternNormal(long seed, long place)
    {
        ulong bits = SeededRandom.PatternBits(seed + 7919, place);
        double sum = (bits & 0xFFFF) + ((bits >> 16) & 0xFFFF) + ((bits >> 32) & 0xFFFF) + (bits >> 48);
        return ((sum / 65536) + (2.0 / 65536) - 2) * Math.Sqrt(3);
    }

    private static List<(int X, int Y, double Electrons)> CosmicRays(DetectorResponse detector, long seed, int count)
    {
        var hits = new List<(int, int, double)>();
        for (int k = 0; k < count; k++)
        {
            var random = new SeededRandom(seed, 2, k);
            double x = random.NextUniform() * detector.Width;
            double y = random.NextUniform() * detector.Height;
            double angle = random.NextUniform() * 2 * Math.PI;
            double length = 1 + (12 * Math.Pow(random.NextUniform(), 3));

            // A minimum-ionising particle frees some 80 electrons per um of silicon; a few um a pixel.
            double perPixel = 200 + (1500 * random.NextUniform());
            for (double t = 0; t < length; t += 1)
            {
                int px = (int)(x + (t * Math.Cos(angle)));
                int py = (int)(y + (t * Math.Sin(angle)));
                if (px >= 0 && px < detector.Width && py >= 0 && py < detector.Height)
                {
                    hits.Add((px, py, perPixel));
                }
            }
        }

        return hits;
    }
}
