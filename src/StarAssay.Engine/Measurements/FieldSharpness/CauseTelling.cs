using System.Numerics;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>What the weighed causes mean.</summary>
internal static class CauseTelling
{
    // From here on a cause is called present, and below the other absent.
    private const double Sure = 0.95, Unlikely = 0.05;

    // What would be noticed in the corners: common practice, no source.
    private const double NoticedBlur = 0.03, NoticedLengthening = 0.02;

    // What is called present must be more than that by its own uncertainty.
    private const double Clearly = 1.25;

    private static readonly Complex[] Rim = [new(1, 1), new(1, -1), new(-1, 1), new(-1, -1)];

    /// <summary>The verdict on each cause.</summary>
    /// <param name="fit">The fits of all sets.</param>
    /// <param name="reachU">Half the width over half the diagonal.</param>
    /// <param name="reachV">Half the height.</param>
    /// <param name="unlike">Nothing is decided, since no set describes the field.</param>
    /// <param name="side">Where stars are blurred most, in words.</param>
    public static IReadOnlyList<BlurCause> Of(CauseFit fit, double reachU, double reachV, bool unlike, string side)
    {
        var told = new List<BlurCause>();
        foreach (BlurCauses cause in CauseFit.Causes)
        {
            (double probability, double[] with, double[] sigma) = fit.Of(cause);
            (double blur, double drawn) = Effect(with, cause, reachU, reachV);

            // What it could be at most: farther from zero by two standard uncertainties.
            double[] most = [.. with];
            foreach (int k in Own(cause))
            {
                most[k] += Math.CopySign(2 * sigma[k], with[k]);
            }

            (double mostBlur, double mostDrawn) = Effect(most, cause, reachU, reachV);
            bool clear = blur > Clearly * NoticedBlur || drawn > Clearly * NoticedLengthening;
            bool noticed = blur > NoticedBlur || drawn > NoticedLengthening, none = !(mostBlur > NoticedBlur) && !(mostDrawn > NoticedLengthening);
            string verdict = unlike ? "not decided" : probability > Sure && clear ? "present" : none || (probability < Unlikely && !noticed) ? "absent"
                : "not decided";
            told.Add(new BlurCause(Name(cause), verdict, probability, blur, drawn, Meaning(cause, verdict, side)));
        }

        return told;
    }

    /// <summary>Trail as lengthening times the blur that all share; zero where it is not present.</summary>
    public static Complex Trail(CauseFit fit)
    {
        double[] p = fit.Of(BlurCauses.Trailing).With;
        return new Complex(p[BlurPattern.TrailX], p[BlurPattern.TrailY]);
    }

    private static string Name(BlurCauses cause) => cause switch
    {
        BlurCauses.Tilt => "tilt",
        BlurCauses.Curvature => "curvature",
        BlurCauses.Astigmatism => "astigmatism",
        BlurCauses.Coma => "coma",
        _ => "trailing",
    };

    /// <summary>The unknowns that a cause is made of.</summary>
    private static int[] Own(BlurCauses cause) => cause switch
    {
        BlurCauses.Tilt => [BlurPattern.TiltX, BlurPattern.TiltY],
        BlurCauses.Curvature => [BlurPattern.Bowl],
        BlurCauses.Astigmatism => [BlurPattern.Astigmatic],
        BlurCauses.Coma => [BlurPattern.Comatic],
        _ => [BlurPattern.TrailX, BlurPattern.TrailY],
    };

    /// <summary>What a cause does at the rim: share of the half-flux radius, and lengthening, the most of corners and edges.</summary>
    private static (double Blur, double Drawn) Effect(double[] with, BlurCauses cause, double reachU, double reachV)
    {
        double[] without = [.. with];
        foreach (int k in Own(cause))
        {
            without[k] = 0;
        }

        (double blur, double drawn) = (0, 0);
        foreach (Complex corner in Rim)
        {
            (double u, double v) = (corner.Real * reachU, corner.Imaginary * reachV);
            foreach (Complex z in new[] { new Complex(u, v), new(u, 0), new(0, v) })
            {
                (double size, Complex shape, _) = BlurPattern.At(with, z);
                (double size0, Complex shape0, _) = BlurPattern.At(without, z);
                blur = Math.Max(blur, Math.Abs(1 - Math.Sqrt(size0 / size)));
                drawn = Math.Max(drawn, ((shape / size) - (shape0 / size0)).Magnitude);
            }
        }

        return (blur, drawn);
    }

    private static string Meaning(BlurCauses cause, string verdict, string side) => (cause, verdict) switch
    {
        (BlurCauses.Tilt, "present") => $"Blur grows towards one side ({side}): the sensor is not square to the axis, or the middle of a curved field " +
            "lies beside that of " +
            "the sensor. One frame does not tell which side is too near; a focus run does. Turn the camera by half a turn: what turns with it belongs " +
            "to the camera.",
        (BlurCauses.Tilt, "absent") => "Both sides are alike within what would be noticed.",
        (BlurCauses.Tilt, _) => "The stars do not decide whether one side is blurred more than the other by a tilt.",
        (BlurCauses.Curvature, "present") => "Focus changes from the middle to all corners alike: the field is curved, or reducer or flattener stands " +
            "at another distance than " +
            "it was made for. Focusing half-way to the corners shares it out; a run at several distances tells the best.",
        (BlurCauses.Curvature, "absent") => "No change of focus with the distance from the middle that would be noticed.",
        (BlurCauses.Curvature, _) => "The stars do not decide whether the field is curved.",
        (BlurCauses.Astigmatism, "present") => "Stars towards the corners are drawn out along or across the line to the middle by defocus that " +
            "differs between both directions. " +
            "It is the optics' or the spacing's; refocusing turns the lengthening by 90 degrees and does not cure it.",
        (BlurCauses.Astigmatism, "absent") => "No lengthening by astigmatism that would be noticed at this focus.",
        (BlurCauses.Astigmatism, _) => "The stars do not decide whether there is astigmatism; near its best focus it only blurs.",
        (BlurCauses.Coma, "present") => "Stars towards the corners have a tail along the line to the middle: coma of the optics, or of a corrector at " +
            "the wrong distance. " +
            "Refocusing does not cure it.",
        (BlurCauses.Coma, "absent") => "No tails along the line to the middle that would be noticed.",
        (BlurCauses.Coma, _) => "The stars do not decide whether there is coma.",
        (_, "present") => "All stars are drawn out in one direction, those in the middle too: tracking, wind, polar alignment, dispersion by a low " +
            "sky, or a figure out of round " +
            "beside its focus. Short exposures and the other side of focus tell these apart. It is no property of the field.",
        (_, "absent") => "Stars share no lengthening in one direction that would be noticed.",
        _ => "The stars do not decide whether they share a lengthening in one direction.",
    };
}
