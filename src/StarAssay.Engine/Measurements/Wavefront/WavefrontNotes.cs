using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>What a wavefront measurement may have to say.</summary>
[NoteList]
public static class WavefrontNotes
{
    /// <summary>Clipped pixels were left out.</summary>
    public static readonly NoteDefinition Clipped = new("wavefront.clipped", NoteLevel.Caution,
        "Pixels at the saturation level were left out; the light they hid is not in the fit.");

    /// <summary>The disc reaches beyond the frame.</summary>
    public static readonly NoteDefinition StarCut = new("wavefront.star-cut", NoteLevel.Caution,
        "Part of the disc lies outside the frame.");

    /// <summary>Little defocus.</summary>
    public static readonly NoteDefinition LittleDefocus = new("wavefront.little-defocus", NoteLevel.Caution,
        "The disc is only a few waves out of focus; seeing and aberration are hard to tell apart.");

    /// <summary>A hole without a declared obstruction, or the other way round.</summary>
    public static readonly NoteDefinition Hole = new("wavefront.hole", NoteLevel.Doubt,
        "The discs show a central hole that the declared obstruction does not explain.");

    /// <summary>Stated and seen distances differ.</summary>
    public static readonly NoteDefinition DistanceContradicts = new("wavefront.distance-contradicts", NoteLevel.Doubt,
        "The size of the discs contradicts the stated distances from focus: focal ratio, pitch or distance is wrong.");

    /// <summary>Wild pixels were masked.</summary>
    public static readonly NoteDefinition Wild = new("wavefront.wild-pixels", NoteLevel.Info,
        "Hot pixels or particle hits were masked.");

    /// <summary>A second star was taken out.</summary>
    public static readonly NoteDefinition Companion = new("wavefront.companion", NoteLevel.Caution,
        "A second star overlaps the disc; its light was modelled and taken out.");

    /// <summary>The camera's response slopes across the disc.</summary>
    public static readonly NoteDefinition UnevenResponse = new("wavefront.uneven-response", NoteLevel.Caution,
        "The camera's response differs across the star's disc, as without a flat field; it was taken off.");

    /// <summary>Blurred along one direction.</summary>
    public static readonly NoteDefinition Trailed = new("wavefront.trailed", NoteLevel.Caution,
        "An image is blurred more along one direction than across it; that was taken off.");

    /// <summary>The shadow is not in the middle.</summary>
    public static readonly NoteDefinition ShadowOffCenter = new("wavefront.shadow-off-center", NoteLevel.Info,
        "The secondary's shadow does not stand in the middle of the pupil; its place was fitted.");

    /// <summary>Vanes that were not stated.</summary>
    public static readonly NoteDefinition VanesFound = new("wavefront.vanes-found", NoteLevel.Caution,
        "The images show vanes that were not stated; they were fitted.");

    /// <summary>Two wavefronts in one pair.</summary>
    public static readonly NoteDefinition ImagesDiffer = new("wavefront.images-differ", NoteLevel.Doubt,
        "The two images show wavefronts that differ by more than noise and air: the result is their mean.");

    /// <summary>The model does not describe the images within the noise.</summary>
    public static readonly NoteDefinition Misfit = new("wavefront.misfit", NoteLevel.Caution,
        "The model misses the images by more than the noise; the bars have been widened for it.");

    /// <summary>The model is far off.</summary>
    public static readonly NoteDefinition MisfitLarge = new("wavefront.misfit-large", NoteLevel.Doubt,
        "The model is far from the images: something about telescope, light or images is not as declared.");

    /// <summary>Less noise than photons allow.</summary>
    public static readonly NoteDefinition GainDoubtful = new("wavefront.gain-doubtful", NoteLevel.Caution,
        "The noise of the images contradicts the stated gain; it may be a camera setting instead of electrons per ADU.");

    /// <summary>The sky's level is more than its light.</summary>
    public static readonly NoteDefinition BiasIn = new("wavefront.bias-in", NoteLevel.Info,
        "The bias is still in the image; it is fitted with the background and changes nothing here.");

    /// <summary>The stopping rule ran into its limit.</summary>
    public static readonly NoteDefinition MoreModes = new("wavefront.more-modes", NoteLevel.Caution,
        "The finest modes allowed still hold an amount that shows beside the map's bar; finer ones are not in the RMS.");

    /// <summary>Both images have their own seeing.</summary>
    public static readonly NoteDefinition SeeingChanged = new("wavefront.seeing-changed", NoteLevel.Info,
        "Seeing differed between the two images and was fitted for each.");

    /// <summary>No turbulence term.</summary>
    public static readonly NoteDefinition ExposureUnknown = new("wavefront.exposure-unknown", NoteLevel.Info,
        "The exposure time is not known; the bars hold what turbulence leaves in a short one.");

    /// <summary>Short exposure.</summary>
    public static readonly NoteDefinition ExposureShort = new("wavefront.exposure-short", NoteLevel.Caution,
        "The exposure is too short to average the seeing.");

    /// <summary>The two methods disagree.</summary>
    public static readonly NoteDefinition MethodsDisagree = new("wavefront.methods-disagree", NoteLevel.Doubt,
        "The fit and the independent linear method differ by more than their bars: not decided.");

    /// <summary>No second opinion.</summary>
    public static readonly NoteDefinition NoSecondOpinion = new("wavefront.no-second-opinion", NoteLevel.Info,
        "The independent linear method could not be applied to these images.");

    /// <summary>Drift that matters.</summary>
    public static readonly NoteDefinition Changing = new("wavefront.changing", NoteLevel.Doubt,
        "The wavefront changed through the pairs by more than the uncertainty of its RMS: their mean is no state of the telescope.");

    /// <summary>Drift that does not.</summary>
    public static readonly NoteDefinition ChangedLittle = new("wavefront.changed-little", NoteLevel.Info,
        "The wavefront changed through the pairs by less than matters for its RMS.");

    /// <summary>Plumes.</summary>
    public static readonly NoteDefinition Unsteady = new("wavefront.unsteady", NoteLevel.Caution,
        "Astigmatism and coma change from pair to pair by more than photons and seeing leave: air in or before the tube.");

    /// <summary>Pairs scatter.</summary>
    public static readonly NoteDefinition PairsScatter = new("wavefront.pairs-scatter", NoteLevel.Caution,
        "The pairs differ from each other by more than their bars; the bars have been widened to the scatter.");
}
