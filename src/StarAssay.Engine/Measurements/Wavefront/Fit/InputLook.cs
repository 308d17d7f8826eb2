using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// Moves scale, wavelength and obstruction within what they are known to, where bright images ask for it: held at stated values that are off, the fit
/// misses the images, and modes are added in vain.
/// </summary>
internal static class InputLook
{
    // Gain, over what is left a pixel, that chance does not give.
    private const double Gain = 30;

    // Standard uncertainties beyond which the stated value is no longer a small error: that is said, and not fitted.
    private const double Farthest = 3;

    /// <summary>Those that may be moved, at the fit's present state.</summary>
    public static StatedInputs Movable(JointFit fit, WavefrontRequest request, InputOffsets now) =>
        StatedInputs.Of(request with { KnownTo = request.KnownTo with { Band = 0, VaneWidth = 0, Linearity = 0 } }, now, fit);

    /// <summary>Where statements and images together put them; null when the images do not ask, or ask for more than can be.</summary>
    public static InputOffsets? At(JointFit fit, WavefrontRequest request, InputOffsets now)
    {
        StatedInputs inputs = Movable(fit, request, now);
        if (inputs.All.Count == 0)
        {
            return null;
        }

        (Matrix<double> equations, Vector<double> sides) = fit.Derivatives.NormalEquations(inputs.Changes);
        return From(fit, request.KnownTo, inputs, equations, sides);
    }

    /// <summary>The same from normal equations whose last rows are theirs.</summary>
    public static InputOffsets? From(JointFit fit, KnownTo known, StatedInputs inputs, Matrix<double> equations, Vector<double> sides)
    {
        int own = sides.Count - inputs.Changes.Count;
        if (inputs.All.Count == 0 || PositiveDefinite.Inverse(equations.SubMatrix(0, own, 0, own)) is not { } inverse)
        {
            return null;
        }

        HeldInputs held = HeldInputs.From(inputs, inverse, equations, sides, sides.SubVector(0, own));
        double inflation = fit.Chi2 / fit.Points;
        (_, Vector<double> mean) = HeldInputs.Both(held.Information / inflation, held.Side / inflation, held.Stated);
        Vector<double> ends = mean - held.Stated;
        if (mean * ((held.Side / inflation) + held.Stated) < Gain * fit.Models.Length || ends.AbsoluteMaximum() > Farthest)
        {
            return null;
        }

        double Of(string source, double size) => inputs.All.Select((input, i) => input.Source == source ? ends[i] * size : 0).Sum();
        return new InputOffsets(Of(StatedInputs.Scale, known.Scale), Of(StatedInputs.Light, known.Wavelength), Of(StatedInputs.Hole, known.Obstruction));
    }
}
