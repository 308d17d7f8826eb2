using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>The sign of the whole curve, which one spectrum leaves open: from a hint, or from what is usual.</summary>
internal static class SignOfTheWhole
{
    /// <summary>Turns the curve if need be and says why; gives the sign it was multiplied by.</summary>
    public static double Orient(ColorFocusInput input, int[] bins, double[] nm, ref double[] smooth, ColorFocusRequest request)
    {
        int middle = bins[Enumerable.Range(0, nm.Length).MinBy(k => Math.Abs(nm[k] - request.ReferenceNm))];
        double sign;
        if (double.IsFinite(request.DefocusUm) && request.DefocusUm != 0)
        {
            // The sensor was set beyond focus (positive): the reference focuses nearer to the objective than the sensor stands.
            sign = smooth[middle] < 0 == request.DefocusUm > 0 ? 1 : -1;
            double found = Math.Abs(smooth[middle]);
            input.Notes.Add(Math.Abs(found - Math.Abs(request.DefocusUm)) > 0.5 * Math.Abs(request.DefocusUm)
                ? ColorFocusNotes.DefocusHintDiffers.Say(
                    $"The spectrum was said to be set {Math.Abs(request.DefocusUm):0} um out of focus; its width says {found:0} um. Check the focuser's " +
                        "scale, the focal ratio and where best focus was, and with it the sign.")
                : ColorFocusNotes.SignFromDefocus.Say(
                    $"The sensor was set {Math.Abs(request.DefocusUm):0} um {(request.DefocusUm > 0 ? "beyond" : "before")} focus; the spectrum's width " +
                        $"says {found:0} um. That decides the signs."));
        }
        else
        {
            int blue = bins[Array.IndexOf(nm, nm.Min())];
            bool longer = request.SignHint != SignHint.BlueShorter;
            sign = smooth[blue] - smooth[middle] >= 0 == longer ? 1 : -1;
            if (request.SignHint == SignHint.None)
            {
                input.Notes.Add(ColorFocusNotes.SignAssumed.Say(
                    "One spectrum shows how far each color is out of focus, not on which side. The usual case of lenses was assumed: the violet end focuses " +
                        "farther out. A second spectrum at another focus, or a hint, settles it."));
            }
        }

        smooth = [.. smooth.Select(v => sign * v)];
        return sign;
    }
}
