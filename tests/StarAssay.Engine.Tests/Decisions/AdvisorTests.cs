using StarAssay.Engine.Decisions;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Decisions;

/// <summary>Truth: closed forms of optics; the wording is checked for what it must say.</summary>
public class AdvisorTests
{
    private static AdviceRequest Request(TelescopeDesign design, params (int Noll, double C, double U)[] modes) => new()
    {
        Design = design,
        ApertureMm = 200,
        FocalLengthMm = 1000,
        WavelengthNm = 550,
        Noll = [.. modes.Select(m => m.Noll)],
        CoefficientsNm = [.. modes.Select(m => m.C)],
        UncertaintiesNm = [.. modes.Select(m => m.U)],
    };

    /// <summary>A paraboloid traced ray by ray, its mirror turned so that its axis passes the middle of the sensor at some millimeters. The
    /// star is measured in the middle; the mirror is turned until the star has moved by what the advice says, from the head of the coma
    /// to its tail; the mount brings the star back to the middle, which leaves the axis where it is; and the coma must be gone. Turned
    /// the other way, half a turn too short or without bringing it back it is not.</summary>
    [Theory]
    [InlineData(200, 1000, 3)]
    [InlineData(150, 900, -2)]
    public void Newtonian_turned_as_advised_has_no_coma_left_in_the_middle(double apertureMm, double focalLengthMm, double offsetMm)
    {
        double tilt = offsetMm / focalLengthMm;
        double CenteringStar(double mirror) => MathNet.Numerics.RootFinding.Brent.FindRoot(
            angle => TracedParaboloid(apertureMm, focalLengthMm, mirror, angle).Star, -0.1, 0.1, 1e-13);
        double pointed = CenteringStar(tilt);
        (double star, double coma) = TracedParaboloid(apertureMm, focalLengthMm, tilt, pointed);
        Assert.Equal(0, star, 1e-6);
        Assert.Equal(3 * Math.Abs(offsetMm) / (16 * Math.Pow(focalLengthMm / apertureMm, 2)), Math.Abs(coma), 0.01 * Math.Abs(coma));

        // The tail, where the edge rays land, points away from the axis, which meets the sensor at f x tilt.
        Assert.Equal(-Math.Sign(offsetMm), Math.Sign(coma));

        // Edge rays land off by 2 N dW/dr = 6 N W131; Noll's term has W131 = 3 sqrt 8 c.
        double c = Math.Abs(coma) / (6 * focalLengthMm / apertureMm) * 1e6 / (3 * Math.Sqrt(8));
        AdviceReport r = Advisor.Advise(Request(TelescopeDesign.Newtonian, (7, 0, 0.01), (8, c, 0.01)) with
        {
            ApertureMm = apertureMm,
            FocalLengthMm = focalLengthMm
        });
        Advice advice = Assert.Single(r.Advice);
        Assert.Equal("mm", advice.Amount.Unit);
        Assert.Equal(Hands.User, advice.Hands);
        Assert.Contains("from the bright head of its coma to the tail; bring it back to the middle with the mount", advice.Text, StringComparison.Ordinal);

        // Turning the mirror by a moves the star by 2 f a.
        double step = Math.Sign(coma) * advice.Amount.Value / (2 * focalLengthMm);
        (double moved, _) = TracedParaboloid(apertureMm, focalLengthMm, tilt + step, pointed);
        Assert.Equal(advice.Amount.Value * Math.Sign(coma), moved, 0.01 * advice.Amount.Value);
        double Left(double turned) => TracedParaboloid(apertureMm, focalLengthMm, tilt + turned, CenteringStar(tilt + turned)).Coma / coma;
        Assert.True(Math.Abs(Left(step)) < 0.01, $"{Left(step)} of the coma is left");
        Assert.Equal(0.5, Left(step / 2), 0.01);
        Assert.Equal(2, Left(-step), 0.02);
    }

    /// <summary>Starlight onto a paraboloid z = r^2/4f turned about its vertex: where the middle ray meets the focal plane of the tube, and
    /// how far the mean of the two edge rays in the plane of the turn lands from it (tangential coma, with sign), mm.</summary>
    private static (double Star, double Coma) TracedParaboloid(double apertureMm, double focalLengthMm, double tiltRad, double starRad)
    {
        double Hit(double x)
        {
            // In the mirror's frame: turned by -tilt, so that the ray through (x, 0) of the tube comes from starRad - tilt. All in the plane of the turn.
            (double s, double c) = Math.SinCos(tiltRad);
            (double px, double pz) = (x * c, x * s);
            (double dx, double dz) = (-Math.Sin(starRad - tiltRad), -Math.Cos(starRad - tiltRad));

            // px + t dx = X, pz + t dz = X^2 / 4f.
            double qa = dx * dx, qb = (2 * px * dx) - (4 * focalLengthMm * dz), qc = (px * px) - (4 * focalLengthMm * pz);
            double t = -2 * qc / (qb + Math.Sqrt((qb * qb) - (4 * qa * qc)));
            (double hx, double hz) = (px + (t * dx), pz + (t * dz));
            (double nx, double nz) = (-hx / (2 * focalLengthMm), 1);
            double dot = 2 * ((dx * nx) + (dz * nz)) / ((nx * nx) + (nz * nz));
            (double rx, double rz) = (dx - (dot * nx), dz - (dot * nz));

            // Back into the tube's frame, and on to its focal plane.
            (double lx, double lz) = ((hx * c) + (hz * s), (hz * c) - (hx * s));
            (double ex, double ez) = ((rx * c) + (rz * s), (rz * c) - (rx * s));
            return lx + (ex * (focalLengthMm - lz) / ez);
        }

        double star = Hit(0);
        return (star, (0.5 * (Hit(apertureMm / 2) + Hit(-apertureMm / 2))) - star);
    }

    /// <summary>The tail of coma lies opposite to the term's direction: centroid less peak of the image drawn with +30 nm of Noll 8.</summary>
    [Fact]
    public void The_tail_of_coma_lies_opposite_to_its_direction()
    {
        DiffractionStamp stamp = DiffractionImage.Draw(new DiffractionImageRequest
        {
            ApertureMm = 100,
            FocalLengthMm = 1000,
            Modes = [ZernikeIndex.FromNoll(8)],
            CoefficientsNm = [60],
            PitchUm = 1,
            Size = 64,
        });
        int peak = Array.IndexOf(stamp.Values, stamp.Values.Max());
        Assert.True(stamp.Centroid().X < (peak % 64) - 32, "the light lies to the left of the peak");
        Assert.Equal(0, Assert.Single(Advisor.Advise(Request(TelescopeDesign.Refractor, (7, 0, 1), (8, 60, 1))).Families).DirectionDeg.Value, 9);
    }

    [Theory]
    [InlineData(8, 7, "coma", 30, 1)]
    [InlineData(6, 5, "astigmatism", 30, 2)]
    [InlineData(10, 9, "trefoil", 30, 3)]
    public void Directions_are_those_of_the_angular_term(int cosine, int sine, string name, double degrees, int fold)
    {
        double angle = degrees * fold * Math.PI / 180;
        AdviceReport r = Advisor.Advise(Request(TelescopeDesign.Refractor, (cosine, 20 * Math.Cos(angle), 1), (sine, 20 * Math.Sin(angle), 1)));
        AberrationFamily f = Assert.Single(r.Families);
        Assert.Equal(name, f.Name);
        Assert.Equal(degrees, f.DirectionDeg.Value, 9);
        // Small angles: u/size/fold.
        Assert.Equal(180 / Math.PI / 20 / fold, f.DirectionDeg.Uncertainty, 9);
    }

    [Fact]
    public void What_noise_can_explain_gets_no_advice()
    {
        AdviceReport r = Advisor.Advise(Request(TelescopeDesign.Refractor, (7, 4, 4), (8, 4, 4), (11, 3, 4)));
        Assert.Contains("leave the optics as they are", Assert.Single(r.Advice).Text, StringComparison.Ordinal);
    }

    [Fact]
    public void Lens_cells_are_left_to_the_optician()
    {
        AdviceReport r = Advisor.Advise(Request(TelescopeDesign.Refractor, (7, 30, 2), (8, 4, 2)));
        Assert.Equal(Hands.Optician, Assert.Single(r.Advice).Hands);
    }

    [Theory]
    [InlineData(20, "undercorrection")]
    [InlineData(-20, "overcorrection")]
    public void Sign_of_spherical_aberration_is_told_as_the_conventions_have_it(double c, string word) =>
        Assert.Contains(word, Assert.Single(Advisor.Advise(Request(TelescopeDesign.Refractor, (11, c, 1))).Advice).Text, StringComparison.Ordinal);

    private static Quantity Seeing(double arcsec, double u, double wavelengthNm = double.NaN) =>
        WavefrontQuantities.Seeing.Of(new Measured(arcsec, u, "arcsec"), double.NaN, wavelengthNm);

    private static Quantity Star(double arcsec, double u, double wavelengthNm = 550) =>
        StarQuantities.Fwhm.Of(new Measured(arcsec, u, "arcsec"), u, wavelengthNm);

    /// <summary>Airy pattern: FWHM 1.029 lambda/D, for 550 nm and 100 mm 1.167 arcsec; square pixel: side/sqrt(12) sigma; rest: the
    /// stars less what telescope and seeing give together, by the Hankel transform of both transfers.</summary>
    [Fact]
    public void Blur_parts_have_their_own_widths_and_shares_of_one_whole()
    {
        AdviceReport r = Advisor.Advise(new AdviceRequest
        {
            ApertureMm = 100,
            FocalLengthMm = 700,
            Quantities = [Star(3, 0.05), Seeing(2.4, 0.1, 550)],
            PixelScaleArcsecPerPx = 1,
        });
        Dictionary<string, double> parts = r.Blur.ToDictionary(p => p.Name, p => p.FwhmArcsec.Value);
        Assert.Equal(1.167, parts["diffraction"], 0.003);
        Assert.Equal(2.3548 / Math.Sqrt(12), parts["pixels"], 0.001);
        double r0 = Engine.Optics.Seeing.R0FromFwhm(2.4, 550), together = Engine.Optics.Seeing.CombinedFwhm(0.1 / r0) * 550e-9 / r0 * 206264.806;
        Assert.Equal(Math.Sqrt(9 - (together * together)), parts["the rest"], 0.02);
        Assert.Equal(1, r.Blur.Sum(p => p.Share), 9);
        Assert.Equal("seeing", r.LimitedBy);
        Assert.Empty(r.Notes);
    }

    /// <summary>At a Strehl ratio of 0.80 spherical aberration leaves the core as narrow as it was, astigmatism widens it: one formula
    /// of the Strehl ratio said 0.51 lambda/D (0.58 arcsec) for both.</summary>
    [Fact]
    public void The_optics_part_is_what_this_wavefront_adds()
    {
        double c = 550 / (2 * Math.PI) * Math.Sqrt(-Math.Log(0.8)), unit = 550e-6 / 100 * 206264.806;
        double Optics(int noll) => Advisor.Advise(new AdviceRequest
        {
            ApertureMm = 100,
            FocalLengthMm = 700,
            Modes = [new AdviceMode(noll, c, 1)],
            Quantities = [Star(1.3, 0.01), Seeing(0.02, 0.001, 550)],
        }).Blur.Single(p => p.Name == "optics").FwhmArcsec.Value / unit;
        Assert.Equal(0, Optics(11), 0.1);
        Assert.True(Optics(6) > Optics(8) && Optics(8) > Optics(11));
    }

    /// <summary>Seeing goes as wavelength^(-1/5): 2 arcsec at 500 nm are 2 x (600/500)^(-0.2) = 1.9284 at 600 nm.</summary>
    [Fact]
    public void Seeing_is_taken_to_the_wavelength_of_the_field()
    {
        AdviceReport r = Advisor.Advise(new AdviceRequest { ApertureMm = 100, FocalLengthMm = 700, Quantities = [Star(3, 0.05, 600), Seeing(2, 0.1, 500)] });
        Assert.Equal(1.9284, r.Blur.Single(p => p.Name == "seeing").FwhmArcsec.Value, 0.0001);
    }

    /// <summary>Seeing of other frames, wider than the stars: the shares summed to 117 %.</summary>
    [Fact]
    public void Shares_sum_to_one_even_when_more_is_explained_than_seen()
    {
        AdviceReport r = Advisor.Advise(new AdviceRequest
        {
            ApertureMm = 100,
            FocalLengthMm = 700,
            PixelScaleArcsecPerPx = 1,
            Quantities = [Star(3, 0.1), Seeing(3.1, 0.3)]
        });
        Assert.Equal(1, r.Blur.Sum(p => p.Share), 9);
    }

    [Fact]
    public void More_blur_explained_than_seen_is_said()
    {
        AdviceReport r = Advisor.Advise(new AdviceRequest
        {
            ApertureMm = 100,
            FocalLengthMm = 700,
            StarFwhmArcsec = 2,
            StarFwhmUncertainty = 0.05,
            SeeingFwhmArcsec = 3,
            SeeingFwhmUncertainty = 0.1
        });
        Assert.Equal("advice.blur-mismatch", Assert.Single(r.Notes).Code);
    }

    [Fact]
    public void Without_a_star_field_the_limit_is_not_known() =>
        Assert.Equal(string.Empty, Advisor.Advise(Request(TelescopeDesign.Refractor, (11, 20, 1))).LimitedBy);
}
