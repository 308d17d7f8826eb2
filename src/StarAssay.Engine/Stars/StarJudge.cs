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

    // Optics that draw stars of many sizes make it hard to tell what is none: so many times their scatter.
    private const double LargeScatter = 4;

    // What is this wide along its short axis (px^2, FWHM 2.6 pixels) no single hit can be.
    private const double Resolved = 1.3;

    // A hit on one row of pixels is narrower.
    private const double LeastStar = 0.3;
    private const double Sure = 3;

    // Single flat tops are close pairs.
    private const double FlatShare = 0.1;

    // Of the drawn fields (tests/accuracy/star_trials.py) those of stars in focus have 0.9 of their bright objects in one size, out of
    // focus and before galaxies 0.4 and more; where the knots of a large galaxy are nearly all there is, 0.1 to 0.2 are left.
    private const double OneSizeShare = 0.3;
    private const int EnoughObjects = 30;

    /// <summary>Flags a hit, an extended object or an undersampled star.</summary>
    public static void Judge(ref StarRecord star, MeterSettings set, SizeSurface surface, StarsAround around)
    {
        double area = Math.Sqrt(Math.Max(0, (star.Cxx * star.Cyy) - (star.Cxy * star.Cxy)));
        double half = 0.5 * (star.Cxx + star.Cyy), spread = Math.Sqrt((0.25 * (star.Cxx - star.Cyy) * (star.Cxx - star.Cyy)) + (star.Cxy * star.Cxy));
        double gain = double.IsNaN(set.Gain) ? double.PositiveInfinity : set.Gain;

        // Relative standard uncertainty of a second moment under a matched Gaussian weight.
        double ofSky = 8 * Math.PI * half * star.Noise * star.Noise * star.Rough / (star.ShapeFlux * star.ShapeFlux);
        double error = Math.Sqrt(ofSky + (2 / (star.ShapeFlux * gain))) * 1.5;

        // The sharpest stars there, along their short axis.
        double usual = surface.At(star), narrow = set.NarrowVariance * usual / set.Variance;

        // Mean of the two neighbors over the pixel itself for a Gaussian whose center lies d pixels off: e^(-1/2v) cosh(d/v). It is
        // uncertain by about 0.7 of the peak's relative noise. Faint objects are decided by which they are nearer to, a lone pixel (0)
        // or the star (1): a field holds many faint hits.
        double expected = Math.Exp(-0.5 / narrow) * Math.Cosh(Math.Min(star.TopOffset / narrow, 5));
        double share = star.Sharpness / expected, doubt = 0.7 * star.SharpnessError / expected, minor = half - spread;
        bool sharp = share < SharpShare && share + (SharpSure * doubt) < 1;
        bool thin = minor < SizeShare * narrow && minor * (1 + (Sure * error)) < 0.8 * narrow;
        if ((sharp || thin) && !(minor >= Resolved) && !(minor > LeastStar && around.Knows(star)))
        {
            star.Marks |= StarMarks.CosmicRay;
            return;
        }

        double large = Math.Max(LargeShare, Math.Exp(LargeScatter * surface.Scatter));
        if (area > large * usual * (1 + (Sure * error)) && (star.Marks & StarMarks.Saturated) == 0 && !around.Knows(star))
        {
            star.Marks |= StarMarks.NotAStar;
        }

        // FWHM 1.5 px = 2.355 sigma with the pixel's own 1/12 left in: variance 0.49 px^2.
        if (half < (1.5 * 1.5 / 5.545177) + (1.0 / 12))
        {
            star.Marks |= StarMarks.Undersampled;
        }
    }

    /// <summary>What to do about too few clean stars: it depends on what the others are.</summary>
    private static string Advice(int[] flags, int blended)
    {
        int clipped = flags.Count(f => ((StarMarks)f & StarMarks.Saturated) != 0), cut = flags.Count(f => ((StarMarks)f & StarMarks.Edge) != 0);
        return 2 * blended > flags.Length ? "Most overlap others: a smaller outer radius keeps more of them, a less crowded field is better."
            : 2 * clipped > flags.Length ? "Most are clipped: use a shorter exposure."
            : 2 * cut > flags.Length ? "Most are cut by the frame's edge: use a larger frame."
            : "Use a longer exposure or a richer field.";
    }

    /// <summary>That many stars are flat-topped, and what stands for their size.</summary>
    public static IEnumerable<Note> FlatTops(StarTable.Columns c, int[] clean, string name)
    {
        int[] flat = Array.FindAll(clean, k => ((StarMarks)c.Flags[k] & StarMarks.FlatTopped) != 0);
        int told = clean.Count(k => double.IsFinite(c.ProfileFwhm[k]));
        if (flat.Length > 0 && flat.Length >= FlatShare * told)
        {
            Measured width = ZoneTable.Median(c.ProfileFwhm, flat, "pix");
            yield return StarNotes.FlatTopped.Say($"{flat.Length} of the {told} clean stars with a profile are flat-topped (out of focus): no Moffat " +
                $"profile fits them and their FWHM is not given. At half of their height they are {width.Value:F1} pixels wide (median): the diameter of " +
                "the disc.", name);
        }
    }

    /// <summary>The notes of the whole field; what to do about few stars, or about no one size, is no advice for a frame of something else.</summary>
    public static IReadOnlyList<Note> Notes(MeterSettings set, int[] flags, int clean, double correlation, TypicalStar typical, SizeSurface surface,
        StarRequest request, bool isField)
    {
        double asked = request.OuterRadiusPx, stated = request.Frame!.SaturationAdu, side = set.Lattice?.Side ?? 1;
        var notes = new List<Note>();
        string name = set.Frame.Name;
        int Count(StarMarks mark) => flags.Count(f => ((StarMarks)f & mark) != 0);
        int saturated = Count(StarMarks.Saturated), hits = Count(StarMarks.CosmicRay), large = Count(StarMarks.NotAStar), blended = Count(StarMarks.Blended);
        if (clean < 10)
        {
            notes.Add(StarNotes.TooFew.Say($"Only {clean} clean star{(clean == 1 ? "" : "s")}: the medians are uncertain and no map over the field can be " +
                $"drawn.{(isField ? " " + Advice(flags, blended) : "")}", name));
        }

        if (surface.Growth > 1)
        {
            notes.Add(StarNotes.NotLinear.Say($"The bright stars are {100 * (surface.Growth - 1):F0} % wider than the faint ones: this is no linear image " +
                "(a scanned plate, a stretched or sharpened picture, clipped cores). Sizes and brightness are not those of the telescope's image; use the " +
                "raw frame.", name));
        }

        (int objects, double share) = surface.Objects > 0 ? (surface.Objects, surface.Share)
            : (typical.Objects, (double)typical.Stars / Math.Max(1, typical.Objects));
        if (isField && objects >= EnoughObjects && share < OneSizeShare)
        {
            notes.Add(StarNotes.NoOneSize.Say($"Only {100 * share:F0} % of the {objects} bright objects have the size that was taken for the stars'. Where " +
                "knots of a galaxy or nebula, or hits, outnumber the stars it is not sure which are which, and medians and flags can change with the least " +
                "change of the frame. Measure a field of stars beside the object, or cut the frame to where stars stand alone.", name));
        }

        if (isField && set.SkyLeft)
        {
            notes.Add(StarNotes.StructuredSky.Say(
                "The sky has structure of the size of the stars (a nebula's threads, a galaxy's knots) that could not be told from them: objects may be " +
                    "parts of it, and sizes and brightness hold some of its light. Measure a field beside it, or in better focus.", name));
        }

        if (double.IsNaN(set.Frame.GainElectronsPerAdu))
        {
            notes.Add(StarNotes.GainUnknown.Say(double.IsNaN(typical.Gain)
                ? "The gain is not known, and too few stars tell it: their photons' noise was taken to be what the sky level says, and uncertainties of " +
                    "bright stars are lower limits. Give the gain in electrons per ADU."
                : $"The gain is not known; what the fits leave of the stars says {set.Gain:G3} +- {typical.GainRelative * set.Gain:G2} electrons per ADU, " +
                    "which was used for the uncertainties. Give the gain if you know it.", name));
        }

        if (double.IsNaN(stated) && flags.Length > 0)
        {
            notes.Add(StarNotes.SaturationUnknown.Say(double.IsNaN(set.Saturation)
                ? "The saturation level is not known: clipped stars are told by their flat tops only. Give the level in ADU."
                : $"The saturation level is not known; bright stars share the frame's highest value, {set.Saturation:G6} ADU, which was taken for it. Give " +
                    "the level if you know it.", name));
        }

        if (saturated > 0)
        {
            notes.Add(StarNotes.Saturated.Say($"{saturated} of {flags.Length} stars {(saturated == 1 ? "is" : "are")} clipped and left out of the medians.",
                name));
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
            bool cut = double.IsNaN(asked) && set.OuterRadius < typical.OuterRadius;
            notes.Add(StarNotes.Crowded.Say($"{blended} of {flags.Length} stars overlap others within {set.OuterRadius * side:G3} pixels; the medians rest " +
                $"on the {clean} that stand alone."
                + (cut ? $" The circle that counts as the whole star was made smaller for that ({typical.OuterRadius * side:F0} pixels else); half-flux " +
                    "radii refer to it." : ""), name));
        }

        if (typical.Stars >= 3 && typical.Variance - (1.0 / 12) < 1.5 * 1.5 / 5.545177)
        {
            notes.Add(StarNotes.Undersampled.Say("The usual star is narrower than 1.5 pixels (FWHM): sizes and shapes are ruled by the pixels. Use a longer " +
                "focal length or smaller pixels to test the optics.", name));
        }

        if (correlation > 1.15)
        {
            notes.Add(StarNotes.CorrelatedNoise.Say($"The smoothed sky scatters {correlation:F2} times as much as independent pixels would (resampled or " +
                "color-interpolated frame); the threshold was raised by that factor.", name));
        }

        if (typical.Stars >= 3 && 3 * typical.Hfr > typical.OuterRadius + 1)
        {
            notes.Add(StarNotes.LargeStars.Say($"The usual half-flux radius is {typical.Hfr * side:F1} pixels; light beyond {typical.OuterRadius * side:F0} " +
                "pixels is not counted. Focus better or bin the frame.", name));
        }

        return [.. notes.OrderByDescending(n => n.Level)];
    }
}
