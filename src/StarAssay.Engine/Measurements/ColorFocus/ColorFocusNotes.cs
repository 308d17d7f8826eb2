using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What reducing spectra and measuring color focus may have to tell.</summary>
[NoteList]
public static class ColorFocusNotes
{
    public static readonly NoteDefinition SecondTrace = new("color-focus.second-trace", NoteLevel.Caution, "A fainter second spectrum lies in the frame.");
    public static readonly NoteDefinition SaturatedColumns = new("color-focus.saturated-columns", NoteLevel.Caution,
        "Some columns of the spectrum are clipped and were left out.");
    public static readonly NoteDefinition SaturationGuessed = new("color-focus.saturation-unknown", NoteLevel.Info,
        "No saturation level was given; only a repeated highest value is taken for clipping.");
    public static readonly NoteDefinition GainEstimated = new("color-focus.gain-estimated", NoteLevel.Info,
        "The gain was estimated from the scatter of the spectrum itself.");
    public static readonly NoteDefinition OneSidedBackground = new("color-focus.one-sided-background", NoteLevel.Caution,
        "Background could be taken on one side of the spectrum only.");
    public static readonly NoteDefinition WindowCut = new("color-focus.window-cut", NoteLevel.Caution,
        "The frame is too low for the whole profile of the spectrum.");
    public static readonly NoteDefinition CosmicRays = new("color-focus.cosmic-rays", NoteLevel.Info,
        "Cosmic rays and hot pixels on the spectrum were left out.");
    public static readonly NoteDefinition SecondOrder = new("color-focus.second-order", NoteLevel.Caution,
        "Beyond a wavelength the second order of the grating overlaps; those columns are left out.");
    public static readonly NoteDefinition NoSecondOrder = new("color-focus.no-second-order", NoteLevel.Info,
        "No line of the grating's second order is seen, so nothing was left out for it.");
    public static readonly NoteDefinition SecondOrderRemoved = new("color-focus.second-order-removed", NoteLevel.Caution,
        "The second order, as the first order at half the wavelength predicts it, was taken from the profiles.");
    public static readonly NoteDefinition LinesMasked = new("color-focus.lines-masked", NoteLevel.Info, "Strong stellar and telluric lines were left out.");
    public static readonly NoteDefinition FaintBins = new("color-focus.faint", NoteLevel.Caution, "Parts of the spectrum are too faint for a width.");
    public static readonly NoteDefinition BeyondWindow = new("color-focus.beyond-window", NoteLevel.Caution,
        "Some colors are blurred over more rows than the window holds and were left out.");
    public static readonly NoteDefinition SignAssumed = new("color-focus.sign-assumed", NoteLevel.Caution,
        "One spectrum cannot tell longer from shorter focus; the sign is an assumption.");
    public static readonly NoteDefinition SignAmbiguous = new("color-focus.sign-ambiguous", NoteLevel.Doubt,
        "One spectrum does not decide the signs of the defocus along the whole of it.");
    public static readonly NoteDefinition SignOpenNearFocus = new("color-focus.sign-open-near-focus", NoteLevel.Caution,
        "Near focus one spectrum leaves the sign open, by less than a tenth of the curve's range.");
    public static readonly NoteDefinition SignFromDefocus = new("color-focus.sign-from-defocus", NoteLevel.Info,
        "The side to which the sensor was set out of focus decides the signs.");
    public static readonly NoteDefinition DefocusHintDiffers = new("color-focus.defocus-hint-differs", NoteLevel.Doubt,
        "The spectrum is out of focus by another amount than was said.");
    public static readonly NoteDefinition NoTouch = new("color-focus.no-sharp-color", NoteLevel.Doubt,
        "No color is in focus in this single spectrum, so seeing and defocus cannot be told apart.");
    public static readonly NoteDefinition GeometryUnknown = new("color-focus.grating-geometry-unknown", NoteLevel.Doubt,
        "The grating's own focus error could not be removed.");
    public static readonly NoteDefinition InstrumentIncluded = new("color-focus.instrument-included", NoteLevel.Caution,
        "The spectrograph's own focus error with color is part of the curve.");
    public static readonly NoteDefinition GeometryRemoved = new("color-focus.grating-geometry-removed", NoteLevel.Info,
        "The sagittal focus error of the grating in the converging beam was removed.");
    public static readonly NoteDefinition ReferenceRemoved = new("color-focus.reference-removed", NoteLevel.Info,
        "The curve of a reference telescope was subtracted.");
    public static readonly NoteDefinition PoorFit = new("color-focus.poor-fit", NoteLevel.Caution,
        "Profiles differ from the model by more than the noise; errors were enlarged.");
    public static readonly NoteDefinition OneSided = new("color-focus.focus-not-bracketed", NoteLevel.Caution,
        "Some colors have their best focus outside the focus run.");
    public static readonly NoteDefinition FocalRatioDiffers = new("color-focus.focal-ratio-differs", NoteLevel.Caution,
        "The blur grows with the focuser as for another focal ratio than the one given.");
    public static readonly NoteDefinition PositionsDrift = new("color-focus.shifted-along-dispersion", NoteLevel.Info,
        "Spectra of the run were shifted along the dispersion and were lined up.");
    public static readonly NoteDefinition BandNotCovered = new("color-focus.band-not-covered", NoteLevel.Caution,
        "The curve does not cover the band for which figures of merit were asked.");
    public static readonly NoteDefinition Flat = new("color-focus.flat", NoteLevel.Info, "The curve is flat within its errors.");
    public static readonly NoteDefinition FewLines = new("wavelength.few-lines", NoteLevel.Caution, "The wavelength solution rests on few lines.");
    public static readonly NoteDefinition Extrapolated = new("wavelength.extrapolated", NoteLevel.Caution,
        "The lines cover part of the frame; wavelengths beyond them are extrapolated.");
    public static readonly NoteDefinition LinesLeftOver = new("wavelength.lines-left-over", NoteLevel.Caution,
        "Strong lines of the lamp are on no list that was named.");
    public static readonly NoteDefinition StarLines = new("wavelength.from-star", NoteLevel.Info, "Wavelengths come from the star's own lines.");
}
