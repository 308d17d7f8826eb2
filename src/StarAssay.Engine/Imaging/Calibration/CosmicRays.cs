using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging.Calibration;

/// <summary>Asks for the cosmic rays of one frame.</summary>
public sealed record CosmicRayRequest
{
    /// <summary>A pixel this many standard deviations sharper than its surroundings may be a hit.</summary>
    public double Significance { get; init; } = 4.5;

    /// <summary>Neighbors of a hit need only this share of it.</summary>
    public double NeighborShare { get; init; } = 0.3;

    /// <summary>Sharpness of a hit over the fine structure that a star of the frame has: the guard of the stars.</summary>
    public double Contrast { get; init; } = 5;

    /// <summary>Rounds at most; each looks again with the hits of the last one filled in.</summary>
    public int Rounds { get; init; } = 4;
}

/// <summary>Cosmic rays of one frame.</summary>
/// <param name="Mask">True = hit, [y, x].</param>
/// <param name="PixelCount">Pixels in it.</param>
/// <param name="HitCount">Hits: groups of touching pixels.</param>
/// <param name="Rounds">Rounds it took.</param>
/// <param name="Notes">Doubts.</param>
public sealed record CosmicRayMask(bool[,] Mask, int PixelCount, int HitCount, int Rounds, IReadOnlyList<Note> Notes);

/// <summary>Tells cosmic rays from stars by their sharp edges, in a single frame.</summary>
/// <remarks>Laplacian edge detection of van Dokkum, 2001, PASP 113, 1420 (doi:10.1086/323894), written from the paper's
/// description as remembered: the Laplacian of the twice oversampled image, negative parts cut off, against the noise of
/// a smoothed image; large structure removed by a 5 x 5 median; hits must also stand out against the fine structure
/// median3 - median7(median3), which stars have and hits have not. An undersampled star (FWHM below about 1.5 pixels) looks like
/// a hit: that is the method's limit.</remarks>
public static class CosmicRays
{
    /// <summary>Finds them.</summary>
    public static CosmicRayMask Find(Frame frame, CosmicRayRequest request, RunContext context)
    {
        InputException.RequireRange(request.Significance, 1, 100, "significance", "standard deviations");
        InputException.RequireRange(request.NeighborShare, 0.01, 1, "neighbor_share", "of the significance");
        InputException.RequireRange(request.Contrast, 0, 1000, "contrast", string.Empty);
        InputException.RequireRange(request.Rounds, 1, 20, "rounds", "rounds");
        if (!(frame.GainElectronsPerAdu > 0) || !(frame.ReadNoiseElectrons >= 0))
        {
            throw new InputException("cosmic-rays.noise",
                $"Gain and read noise of {frame.Name} are needed to know its noise. Give gain=... and read_noise=..., or measure them with measure_gain.",
                    "gain", frame.Name);
        }

        FloatImage image = FloatImage.From(frame, context);
        bool[] hit = new bool[image.Pixels.Length];
        int rounds = 0;
        for (int added = 1; rounds < request.Rounds && added > 0; rounds++)
        {
            added = Round(image, hit, frame, request, context);
            context.Report((rounds + 1.0) / request.Rounds, "looking for cosmic rays");
            Fill(image, hit);
        }

        var mask = new bool[frame.Height, frame.Width];
        Buffer.BlockCopy(hit, 0, mask, 0, hit.Length);
        int pixels = hit.Count(h => h);
        Note[] notes = pixels > 0.01 * hit.Length
            ? [CalibrationNotes.ManyCosmicRays.Say($"{pixels} pixels were taken for cosmic rays. If the stars are sharper than 1.5 pixels, raise contrast.",
                frame.Name)]
            : [];
        return new CosmicRayMask(mask, pixels, Groups(hit, frame.Width, frame.Height), rounds, notes);
    }

    private static int Round(FloatImage image, bool[] hit, Frame frame, CosmicRayRequest request, RunContext context)
    {
        (int width, int height) = (image.Width, image.Height);
        FloatImage smooth = MedianFilter.Apply(image, 2, context);
        float[] sharp = new float[image.Pixels.Length], significance = new float[image.Pixels.Length];
        double gain = frame.GainElectronsPerAdu, read2 = frame.ReadNoiseElectrons * frame.ReadNoiseElectrons;
        Parallel.For(0, height, context.Parallel, y =>
        {
            for (int x = 0; x < width; x++)
            {
                int i = (y * width) + x;
                float v = image.Pixels[i];
                float left = image.Pixels[x > 0 ? i - 1 : i], right = image.Pixels[x < width - 1 ? i + 1 : i];
                float down = image.Pixels[y > 0 ? i - width : i], up = image.Pixels[y < height - 1 ? i + width : i];

                // Each quarter of the pixel has two neighbors of its own value and two outside; mean of the four.
                float twice = 2 * v;
                float laplacian = 0.25f * (Math.Max(0, twice - left - down) + Math.Max(0, twice - right - down)
                    + Math.Max(0, twice - left - up) + Math.Max(0, twice - right - up));
                double noise = Math.Sqrt(Math.Max(0, gain * smooth.Pixels[i]) + read2) / gain;
                sharp[i] = laplacian;

                // A lone pixel of height h has laplacian 2 h: the factor 2 (the oversampling) makes this h over noise.
                significance[i] = (float)(laplacian / (2 * Math.Max(noise, 1e-12)));
            }
        });
        var s = new FloatImage(significance, width, height);
        FloatImage cleaned = MedianFilter.Subtract(s, MedianFilter.Apply(s, 2, context));
        FloatImage medium = MedianFilter.Apply(image, 1, context);
        FloatImage fine = MedianFilter.Subtract(medium, MedianFilter.Apply(medium, 3, context));
        bool[] fresh = new bool[hit.Length];
        for (int i = 0; i < hit.Length; i++)
        {
            // Fine structure below the noise would make every noise peak stand out against it.
            double structure = Math.Max(fine.Pixels[i], sharp[i] / (2 * Math.Max(significance[i], 1e-6)));
            fresh[i] = cleaned.Pixels[i] > request.Significance && sharp[i] > request.Contrast * structure;
        }

        Grow(fresh, cleaned, width, height, request.Significance);
        Grow(fresh, cleaned, width, height, request.Significance * request.NeighborShare);
        int added = 0;
        for (int i = 0; i < hit.Length; i++)
        {
            if (fresh[i] && !hit[i])
            {
                hit[i] = true;
                added++;
            }
        }

        return added;
    }

    private static void Grow(bool[] fresh, FloatImage s, int width, int height, double limit)
    {
        bool[] before = [.. fresh];
        for (int i = 0; i < before.Length; i++)
        {
            if (before[i])
            {
                (int x, int y) = (i % width, i / width);
                for (int v = Math.Max(0, y - 1); v <= Math.Min(height - 1, y + 1); v++)
                {
                    for (int u = Math.Max(0, x - 1); u <= Math.Min(width - 1, x + 1); u++)
                    {
                        fresh[(v * width) + u] |= s.Pixels[(v * width) + u] > limit;
                    }
                }
            }
        }
    }

    /// <summary>Hits become the median of the sound pixels within two.</summary>
    private static void Fill(FloatImage image, bool[] hit)
    {
        (int width, int height) = (image.Width, image.Height);
        float[] source = [.. image.Pixels], near = new float[25];
        for (int i = 0; i < hit.Length; i++)
        {
            if (!hit[i])
            {
                continue;
            }

            (int x, int y, int n) = (i % width, i / width, 0);
            for (int v = Math.Max(0, y - 2); v <= Math.Min(height - 1, y + 2); v++)
            {
                for (int u = Math.Max(0, x - 2); u <= Math.Min(width - 1, x + 2); u++)
                {
                    int k = (v * width) + u;
                    if (!hit[k] && float.IsFinite(source[k]))
                    {
                        near[n++] = source[k];
                    }
                }
            }

            image.Pixels[i] = n > 0 ? (float)Rank.Median(near.AsSpan(0, n)) : source[i];
        }
    }

    private static int Groups(bool[] hit, int width, int height)
    {
        bool[] seen = new bool[hit.Length];
        var open = new Stack<int>();
        int groups = 0;
        for (int start = 0; start < hit.Length; start++)
        {
            if (!hit[start] || seen[start])
            {
                continue;
            }

            groups++;
            seen[start] = true;
            open.Push(start);
            while (open.TryPop(out int i))
            {
                (int x, int y) = (i % width, i / width);
                for (int v = Math.Max(0, y - 1); v <= Math.Min(height - 1, y + 1); v++)
                {
                    for (int u = Math.Max(0, x - 1); u <= Math.Min(width - 1, x + 1); u++)
                    {
                        int k = (v * width) + u;
                        if (hit[k] && !seen[k])
                        {
                            seen[k] = true;
                            open.Push(k);
                        }
                    }
                }
            }
        }

        return groups;
    }
}
