using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>Modes of one family taken together.</summary>
/// <param name="Name">spherical, coma, astigmatism, trefoil, higher orders.</param>
/// <param name="Rms">Root sum square of its coefficients, nm, with what noise alone would give taken off.</param>
/// <param name="Share">Its square over the square of the whole RMS without focus.</param>
/// <param name="DirectionDeg">Direction in the pupil in which the wave is most ahead at the rim, from +x towards +y; NaN where it has
/// none. Light lands on the other side: the tail of coma points the opposite way.</param>
public sealed record AberrationFamily(string Name, Measured Rms, double Share, Measured DirectionDeg);

/// <summary>Puts the modes of a wavefront into the families of aberration that have names.</summary>
public static class AberrationFamilies
{
    /// <summary>Families, largest first. Arrays over modes have one order.</summary>
    /// <param name="noll">Noll indices; piston, tilt and focus are left out, since they are no errors of the optics.</param>
    /// <param name="coefficientNm">Coefficients, nm RMS.</param>
    /// <param name="uncertaintyNm">Their standard uncertainties, nm.</param>
    /// <param name="noiseNm">The part of them that is noise for sure and raises sums of squares; all of it unless given.</param>
    public static IReadOnlyList<AberrationFamily> Of(IReadOnlyList<int> noll, IReadOnlyList<double> coefficientNm, IReadOnlyList<double> uncertaintyNm,
        IReadOnlyList<double>? noiseNm = null)
    {
        var groups = new Dictionary<string, List<(int Noll, double C, double U, double Noise)>>();
        for (int i = 0; i < noll.Count; i++)
        {
            if (noll[i] > 4 && double.IsFinite(coefficientNm[i]))
            {
                string name = NameOf(noll[i]);
                (groups.TryGetValue(name, out List<(int, double, double, double)>? list) ? list : groups[name] = [])
                    .Add((noll[i], coefficientNm[i], uncertaintyNm[i], (noiseNm ?? uncertaintyNm)[i]));
            }
        }

        double whole = groups.Values.Sum(g => g.Sum(m => m.C * m.C));
        return [.. groups
            .Select(g => Family(g.Key, g.Value, whole))
            .OrderByDescending(f => f.Rms.Value)];
    }

    /// <summary>Family of a mode.</summary>
    public static string NameOf(int noll)
    {
        ZernikeIndex index = ZernikeIndex.FromNoll(noll);
        return (index.N, index.Frequency) switch
        {
            (2, 2) => "astigmatism",
            (3, 1) => "coma",
            (3, 3) => "trefoil",
            (4, 0) => "spherical",
            _ => "higher orders",
        };
    }

    private static AberrationFamily Family(string name, List<(int Noll, double C, double U, double Noise)> modes, double whole)
    {
        double squares = modes.Sum(m => m.C * m.C);
        double noise = modes.Sum(m => m.Noise * m.Noise);
        double all = modes.Sum(m => m.U * m.U);
        double rms = Math.Sqrt(squares);
        // Uncertainty of a root sum square; where noise is all there is, the noise itself.
        double u = rms > 0 ? Math.Sqrt(modes.Sum(m => m.C * m.C * m.U * m.U)) / rms : Math.Sqrt(all);
        double unbiased = Math.Sqrt(Math.Max(squares - noise, 0));
        return new AberrationFamily(name, new Measured(unbiased, Math.Max(u, unbiased > 0 ? 0 : Math.Sqrt(all)), "nm"),
            whole > 0 ? squares / whole : 0, Direction(name, modes));
    }

    private static Measured Direction(string name, List<(int Noll, double C, double U, double Noise)> modes)
    {
        int fold = name switch { "coma" => 1, "astigmatism" => 2, "trefoil" => 3, _ => 0 };
        if (fold == 0 || modes.Count != 2)
        {
            return Measured.None("deg");
        }

        // Noll: the even index is the cosine term.
        (int _, double c, double uc, double _) = modes.Single(m => m.Noll % 2 == 0);
        (int _, double s, double us, double _) = modes.Single(m => m.Noll % 2 == 1);
        double r2 = (c * c) + (s * s);
        if (r2 == 0)
        {
            return Measured.None("deg");
        }

        double angle = Math.Atan2(s, c) / fold * 180 / Math.PI;
        double period = 360.0 / fold;
        double u = Math.Sqrt((s * s * uc * uc) + (c * c * us * us)) / r2 / fold * 180 / Math.PI;
        return new Measured((angle + period) % period, u, "deg");
    }
}
