using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>Judges each object against the frame's own stars, and says what the reader must know.</summary>
internal static class StarJudge
{
    // A star's neighbors hold at least this share of what those of the frame's sharpest stars do; below, it is a hit.
    private const double SharpShare = 0.45;
    private const double SharpSure = 1.3;
    private const double SizeShare = 0.6;
    private const double LargeShare = 1.5;
    private const double Sure = 3;

    /// <summary>Flags a hit, an extended object or an undersampled star.</summary>
    public static void Judge(ref StarRecord star, MeterSettings set, SizeSurface surface)
    {
        double area = Math.Sqrt(Math.Max(0, (star.Cxx * star.Cyy) - (star.Cxy * star.Cxy)));
        double half = 0.5 * (star.Cxx + star.Cyy), spread = Math.Sqrt((0.25 * (star.Cxx - star.Cyy) * (star.Cxx - star.Cyy)) + (star.Cxy * star.Cxy));
        double gain = double.IsNaN(set.Gain) ? double.PositiveInfinity : set.Gain;

        // Relative standard uncertainty of a second moment under a matched Gaussian weight.
        double error = Math.Sqrt((8 * Math.PI * half * star.Noise * star.Noise / (star.ShapeFlux * star.ShapeFlux)) + (2 / (star.ShapeFlux * gain))) * 1.5;

        // The mean of two neighbors over the peak is uncertain by about 0.7 of the peak's relative noise. Faint objects are
        // decided by which they are nearer to, a lone pixel (0) or the star (1): a field holds many faint hits.
        double share = star.Sharpness / star.ExpectedSharpness, doubt = 0.7 * star.SharpnessError / star.ExpectedSharpness;
        bool sharp = share < SharpShare && share + (SharpSure * doubt) < 1;
        bool thin = half - spread < SizeShare * set.NarrowVariance && (half - spread) * (1 + (Sure * error)) < 0.8 * set.NarrowVariance;
        if (sharp || thin)
        {
            star.Marks |= StarMarks.CosmicRay;
            return;
        }

        double usual = surface.At(star.X, star.Y);
        if (area > LargeShare * usual * (1 + (Sure * error)) && (star.Marks & StarMarks.Saturated) == 0)
        {
            star.Marks |= StarMarks.NotAStar;
        }

        // FWHM 1.5 px = 2.355 sigma with the pixel's own 1/12 left in: variance 0.49 px^2.
        if (half < (1.5 * 1.5 / 5.545177) + (1.0 / 12))
        {
            star.Marks |= StarMarks.Undersampled;
        }
    }

    /// <summary>The notes of the whole field.</summary>
    public static IReadOnlyList<Note> Notes(MeterSettings set, int[] flags, int clean, double correlation, TypicalStar typical, double[] snr)
    {
        var notes = new List<Note>();
        string name = set.Frame.Name;
        int Count(StarMarks mark) => flags.Count(f => ((StarMarks)f & mark) != 0);
        if (flags.Length == 0)
        {
            notes.Add(StarNotes.NoStars.Say("No star was found. Expose longer, focus better, or lower the detection threshold.", name));
        }
        else if (clean < 10)
        {
            notes.Add(StarNotes.TooFew.Say($"Only {clean} clean star{(clean == 1 ? "" : "s")}: the medians are uncertain and no map over the field can be drawn. Use a longer exposure or a richer field.", name));
        }

        if (double.IsNaN(set.Gain))
        {
            notes.Add(StarNotes.GainUnknown.Say("The gain is not known: noise was measured on the sky alone, and uncertainties of bright stars are lower limits. Give the gain in electrons per ADU.", name));
        }

        if (double.IsNaN(set.Saturation) && flags.Length > 0)
        {
            notes.Add(StarNotes.SaturationUnknown.Say("The saturation level is not known: clipped stars are told by their flat tops only. Give the level in ADU.", name));
        }

        int saturated = Count(StarMarks.Saturated), hits = Count(StarMarks.CosmicRay), large = Count(StarMarks.NotAStar), blended = Count(StarMarks.Blended);
        if (saturated > 0)
        {
            notes.Add(StarNotes.Saturated.Say($"{saturated} of {flags.Length} stars {(saturated == 1 ? "is" : "are")} clipped and left out of the medians.", name));
        }

        if (hits > 0)
        {
            notes.Add(StarNotes.CosmicRays.Say(hits == 1
                ? "1 object is sharper than the stars of this frame can be (cosmic ray, hot pixel); it is flagged and left out."
                : $"{hits} objects are sharper than the stars of this frame can be (cosmic rays, hot pixels); they are flagged and left out.", name));
        }

        if (large > 0)
        {
            notes.Add(StarNotes.Extended.Say(large == 1
                ? "1 object is much larger than the stars around it (galaxy, close pair); it is flagged and left out."
                : $"{large} objects are much larger than the stars around them (galaxies, close pairs); they are flagged and left out.", name));
        }

        if (blended > 0.3 * flags.Length && flags.Length >= 10)
        {
            notes.Add(StarNotes.Crowded.Say($"{blended} of {flags.Length} stars overlap others; the medians rest on the {clean} that stand alone.", name));
        }

        if (typical.Stars >= 3 && typical.Variance - (1.0 / 12) < 1.5 * 1.5 / 5.545177)
        {
            notes.Add(StarNotes.Undersampled.Say("The usual star is narrower than 1.5 pixels (FWHM): sizes and shapes are ruled by the pixels. Use a longer focal length or smaller pixels to test the optics.", name));
        }

        if (correlation > 1.15)
        {
            notes.Add(StarNotes.CorrelatedNoise.Say($"The smoothed sky scatters {correlation:F2} times as much as independent pixels would (resampled or color-interpolated frame); the threshold was raised by that factor.", name));
        }

        if (typical.Stars >= 3 && 3 * typical.Hfr > typical.OuterRadius + 1)
        {
            notes.Add(StarNotes.LargeStars.Say($"The usual half-flux radius is {typical.Hfr:F1} pixels; light beyond {typical.OuterRadius:F0} pixels is not counted. Focus better or bin the frame.", name));
        }

        return [.. notes.OrderByDescending(n => n.Level)];
    }
}
