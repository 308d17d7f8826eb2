using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>Says what limits the images and what can be adjusted, by how much, in which direction.</summary>
public static class Advisor
{
    // A family is spoken of when it stands out of its noise and matters: 3 standard uncertainties, and lambda/100.
    private const double Significance = 3;
    private const double WorthWaves = 0.01;

    /// <summary>Advice from what was measured.</summary>
    [EngineTask("decisions.advise")]
    public static AdviceReport Advise(AdviceRequest request)
    {
        request = request.Resolved();
        InputException.RequireRange(request.ApertureMm, 1, 1e5, "aperture_mm", "mm");
        InputException.RequireRange(request.FocalLengthMm, 1, 1e6, "focal_length_mm", "mm");
        InputException.RequireRange(request.WavelengthNm, 200, 20000, "wavelength_nm", "nm");
        InputException.RequireRange(request.FieldWavelengthNm, 200, 20000, "field_wavelength_nm", "nm");
        if (request.Noll.Count != request.CoefficientsNm.Count || request.Noll.Count != request.UncertaintiesNm.Count)
        {
            throw new InputException("advice.modes", "Indices, coefficients and uncertainties of the modes differ in number. Give one of each for every mode.",
                "noll");
        }

        var notes = new List<Note>();
        (IReadOnlyList<BlurPart> blur, string limitedBy, string limit) = BlurBudget.Split(request, notes);
        IReadOnlyList<AberrationFamily> families = AberrationFamilies.Of(request.Noll, request.CoefficientsNm, request.UncertaintiesNm);
        var advice = new List<Advice>();
        foreach (AberrationFamily family in families)
        {
            bool seen = family.Rms.Value > Significance * family.Rms.Uncertainty && family.Rms.Value > WorthWaves * request.WavelengthNm;
            if (seen && ForFamily(request, family) is Advice a)
            {
                advice.Add(a);
            }
        }

        if (families.Count > 0 && advice.Count == 0)
        {
            advice.Add(new Advice("optics", Hands.Nobody, Measured.None("nm"), Measured.None("deg"),
                "No aberration family stands out of its uncertainty and above a hundredth of a wave: leave the optics as they are."));
        }

        if (limitedBy == "the rest")
        {
            advice.Add(new Advice("focus", Hands.User, Measured.None("um"), Measured.None("deg"),
                $"Refocus in steps of half the depth of focus, {Words.Plain(Math.Round(DepthOfFocusUm(request) / 2, 0), "um")}, and take a field at each: " +
                    "if the stars stay as wide, look at tracking and vibration."));
        }
        else if (limitedBy == "seeing")
        {
            advice.Add(new Advice("seeing", Hands.User, Measured.None("arcsec"), Measured.None("deg"),
                "Nothing on the telescope makes these images sharper tonight: take a steadier night or a higher star, and let the tube cool; if the width " +
                    "stays the same over nights, the air near the telescope is the cause."));
        }

        return new AdviceReport(limitedBy, limit, blur, families, advice, notes);
    }

    /// <summary>Half of the range of focus that keeps the wavefront within a quarter wave: 2 lambda N^2, um.</summary>
    private static double DepthOfFocusUm(AdviceRequest r) => 2 * r.FieldWavelengthNm * 1e-3 * Math.Pow(r.FocalLengthMm / r.ApertureMm, 2);

    private static Advice? ForFamily(AdviceRequest request, AberrationFamily family) => family.Name switch
    {
        "coma" => ForComa(request, family),
        "astigmatism" => new Advice("astigmatism", Hands.User, family.Rms, family.DirectionDeg,
            $"Astigmatism of {Words.PlusMinus(family.Rms)} RMS, axis at {Degrees(family)}. Turn the camera by 90 degrees and measure again: an axis that " +
                "stays with the camera comes from the camera's side (adapter, diagonal, tilt); one that stays with the tube comes from the optics or from a " +
                "clamp that squeezes them."),
        "trefoil" => new Advice("trefoil", Hands.User, family.Rms, family.DirectionDeg,
            $"Trefoil of {Words.PlusMinus(family.Rms)} RMS, one arm at {Degrees(family)}: the mark of optics held at three points. Let the tube reach the " +
                "temperature of the air and measure again; if it stays, the cell is for the maker or a qualified optician."),
        "spherical" => ForSpherical(family, request),
        _ => null,
    };

    private static Advice ForSpherical(AberrationFamily family, AdviceRequest request)
    {
        int at = request.Noll.ToList().IndexOf(11);
        string sense = request.CoefficientsNm[at] > 0 ? "undercorrection (edge rays focus nearer to the objective)"
            : "overcorrection (edge rays focus farther from the objective)";
        return new Advice("spherical aberration", Hands.Nobody, family.Rms, Measured.None("deg"),
            $"Spherical aberration of {Words.PlusMinus(family.Rms)} RMS, {sense}. A tube that is still cooling shows it too: measure again after another " +
                "hour. What stays is how the optics are made; no adjustment of the user's takes it away.");
    }

    private static Advice ForComa(AdviceRequest request, AberrationFamily family)
    {
        string size = $"Coma of {Words.PlusMinus(family.Rms)} RMS along {Degrees(family)} in the image";
        if (request.Design == TelescopeDesign.Newtonian)
        {
            // A paraboloid's coma at field angle t: W131 = t D / (32 N^2), from its tangential coma 3 t / (16 N^2)
            // (handbook formula, checked by tracing rays in the tests); Noll's term c sqrt(8) (3 r^3 - 2 r) has W131 = 3 sqrt(8) c.
            // Turning the mirror by an angle turns its axis by that and what it reflects by twice that. The star was measured in the
            // middle, and the mount brings it back there: the axis has to come to the middle, by d along the tail of the coma (which
            // points away from the axis), and so the star moves by 2 d that way.
            double perNm = 2 * 3 * Math.Sqrt(8) * 1e-6 * 32 * Math.Pow(request.FocalLengthMm / request.ApertureMm,
                2) / request.ApertureMm * request.FocalLengthMm;
            var move = new Measured(family.Rms.Value * perNm, family.Rms.Uncertainty * perNm, "mm");
            var offset = new Measured(move.Value / 2, move.Uncertainty / 2, "mm");
            return new Advice("coma", Hands.User, move, family.DirectionDeg,
                $"{size}: the paraboloid's axis passes the star at {Words.PlusMinus(offset)} in the focal plane. Turn the mirror's adjusting screws so that " +
                    $"the star moves by twice that, {Words.PlusMinus(move)}, in the direction from the bright head of its coma to the tail; bring it back " +
                    "to the middle with the mount on the way. Measure again; if the coma grew, the direction was the other one.");
        }

        return request.Design == TelescopeDesign.Refractor
            ? new Advice("coma", Hands.Optician, family.Rms, family.DirectionDeg,
                $"{size}, on the axis: a lens is decentered or tilted. Check first that focuser and diagonal are square, then measure again with the camera " +
                    "turned by 90 degrees; what stays with the tube is for the maker or a qualified optician, unless the cell has screws meant for users.")
            : new Advice("coma", Hands.User, family.Rms, family.DirectionDeg,
                $"{size}, on the axis: the optics are out of collimation. Adjust only the screws meant for users, so that the defocused rings become " +
                    "concentric, and measure again.");
    }

    private static string Degrees(AberrationFamily family) => Words.PlusMinus(family.DirectionDeg) is string s
        ? s.Replace("deg", "degrees", StringComparison.Ordinal) : string.Empty;
}
