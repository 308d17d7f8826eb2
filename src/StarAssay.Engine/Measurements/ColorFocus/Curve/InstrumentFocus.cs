using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>The spectrograph's own share of the color focus curve.</summary>
internal static class InstrumentFocus
{
    /// <summary>What is to be added to the measured focus of each bin to take it off, um, and its standard uncertainty: the grating's
    /// sagittal shortening, or the curve of a telescope without color error. Notes say which, or that it stays in.</summary>
    public static (double[] Removed, double[] Error) Removal(ColorFocusInput input, ColorFocusRequest request)
    {
        var removed = new double[input.Bins];
        var error = new double[input.Bins];
        if (request.ReferenceCurveWavelengthNm.Length > 1)
        {
            for (int j = 0; j < input.Bins; j++)
            {
                removed[j] = -LinearTable.At(request.ReferenceCurveWavelengthNm, request.ReferenceCurveShiftUm, input.Nm[j]);
                error[j] = request.ReferenceCurveUncertaintyUm.Length == request.ReferenceCurveWavelengthNm.Length
                    ? LinearTable.At(request.ReferenceCurveWavelengthNm, request.ReferenceCurveUncertaintyUm, input.Nm[j]) : 0;
            }

            input.Notes.Add(ColorFocusNotes.ReferenceRemoved.Say("The curve of the reference telescope, measured with the same spectrograph, was " +
                "subtracted; it takes the spectrograph's and grating's own focus error with it."));
        }
        else if (request.Disperser == Disperser.ConvergingGrating)
        {
            if (double.IsFinite(request.GratingLinesPerMm) && double.IsFinite(request.GratingDistanceMm))
            {
                var grating = new Grating(request.GratingLinesPerMm, request.GratingDistanceMm);
                for (int j = 0; j < input.Bins; j++)
                {
                    removed[j] = grating.SagittalShorteningUm(input.Nm[j]);
                }

                input.Notes.Add(ColorFocusNotes.GeometryRemoved.Say(
                    $"A grating of {request.GratingLinesPerMm:0} lines/mm at {request.GratingDistanceMm:0.#} mm shortens the focus across the dispersion by " +
                        $"{removed.Min():0} to {removed.Max():0} um; this was removed."));
            }
            else
            {
                input.Notes.Add(ColorFocusNotes.GeometryUnknown.Say(
                    "A grating in the converging beam shortens the focus toward the red, by as much as a lens errs; without its lines per mm and distance, " +
                        "or a reference spectrum through a mirror telescope, that error stays in the curve."));
            }
        }
        else
        {
            input.Notes.Add(ColorFocusNotes.InstrumentIncluded.Say(
                "The spectrograph's own focus error with color is part of the curve; subtract a reference spectrum taken through a mirror telescope to " +
                    "remove it."));
        }

        return (removed, error);
    }
}
