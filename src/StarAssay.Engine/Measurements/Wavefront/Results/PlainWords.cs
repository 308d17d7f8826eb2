using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>What a mode means at the telescope. Causes are common practice, no source.</summary>
internal static class PlainWords
{
    // Chance passes them in one of a hundred modes: the normal distribution for one number, Rayleigh's for the length of two. At twice the standard
    // deviation every seventh pair of modes would have a cause named for nothing.
    private const double One = 2.576, Two = 3.035;

    /// <summary>One or two sentences with direction or axis and the usual causes.</summary>
    public static string Of(ZernikeIndex mode, double[] c, ZernikeIndex[] modes, double sigma)
    {
        int j = Array.IndexOf(modes, mode);
        int partner = Array.IndexOf(modes, new ZernikeIndex(mode.N, -mode.M));
        double cosine = mode.M >= 0 ? c[j] : partner >= 0 ? c[partner] : 0;
        double sine = mode.M < 0 ? c[j] : partner >= 0 && mode.M != 0 ? c[partner] : 0;
        double size = mode.M == 0 ? Math.Abs(c[j]) : Math.Sqrt((cosine * cosine) + (sine * sine));
        if (size < (mode.M == 0 ? One : Two) * sigma)
        {
            return "not told from zero by these images";
        }

        double angle = mode.M == 0 ? 0 : Math.Atan2(sine, cosine) / mode.Frequency * 180 / Math.PI;
        return (mode.N, mode.Frequency) switch
        {
            (4, 0) => c[j] > 0
                ? "undercorrected: edge rays focus nearer to the objective; figure of the optics, or a wrong spacing of the elements; a tube still cooling " +
                    "imitates it"
                : "overcorrected: edge rays focus farther from the objective; figure of the optics, or a wrong spacing of the elements; a tube still " +
                    "cooling imitates it",
            (_, 0) => "a zone of the figure, or a turned edge",
            (3, 1) => $"wave ahead towards {Turn(angle, 360):F0} deg in the field (from +x towards +y); usually collimation or a tilted element",
            (2, 2) => $"wave ahead along the axis at {Turn(angle, 180):F0} deg; strained or pinched optics, a tilted element, or the sensor off the field's " +
                "centre",
            (3, 3) => $"three lobes, first at {Turn(angle, 120):F0} deg; usually a cell that pinches at three points",
            (4, 4) => $"four lobes, first at {Turn(angle, 90):F0} deg; supports of the cell or of the secondary mirror",
            (_, 1) => $"higher coma towards {Turn(angle, 360):F0} deg; residue of the design out of collimation",
            (_, 2) => $"higher astigmatism, axis {Turn(angle, 180):F0} deg; strain in the cell",
            _ => "a finer error of the figure, or what the seeing left",
        };
    }

    private static double Turn(double degrees, double period) => ((degrees % period) + period) % period;
}
