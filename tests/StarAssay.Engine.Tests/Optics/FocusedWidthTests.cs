using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>Truth: FWHM of the Airy pattern (1.028994 lambda/D: root of J1(x)/x) and of annular pupils (Born and Wolf, ch. 8), in
/// closed form; telescope and seeing together by the Hankel transform of the product of their transfers.</summary>
public class FocusedWidthTests
{
    private const double Unit = 550e-6 / 100 * 206264.806; // lambda / D, arcsec

    private static double Width(double seeing = 0, double obstruction = 0, params (int Noll, double Nm)[] modes) => FocusedWidth.Arcsec(new FocusedWidthRequest
    {
        ApertureMm = 100,
        WavelengthNm = 550,
        Pupil = new PupilShape { Obstruction = obstruction },
        SeeingFwhmArcsec = seeing * Unit,
        Modes = [.. modes.Select(m => ZernikeIndex.FromNoll(m.Noll))],
        CoefficientsNm = [.. modes.Select(m => m.Nm)],
    }) / Unit;

    /// <summary>Samples 1/24 of the width apart, straight lines between the crossings: one part in a thousand.</summary>
    [Theory]
    [InlineData(0, 1.02899)]
    [InlineData(0.20, 1.00675)]
    [InlineData(0.33, 0.97198)]
    [InlineData(0.50, 0.91167)]
    public void A_perfect_pupil_has_the_width_of_its_pattern(double obstruction, double width) =>
        Assert.Equal(width, Width(obstruction: obstruction), 0.001 * width);

    [Theory]
    [InlineData(1)]
    [InlineData(3)]
    [InlineData(8)]
    public void Under_seeing_the_width_is_that_of_the_product_of_transfers(double apertureOverR0)
    {
        double expected = Seeing.CombinedFwhm(apertureOverR0) * apertureOverR0;
        Assert.Equal(expected, Width(Seeing.FwhmFactor * apertureOverR0), 0.002 * expected);
    }

    /// <summary>Values of another simulation of the same pupils, which gave two digits: at a Strehl ratio of 0.80 and without seeing
    /// spherical aberration adds 0.00 and astigmatism 0.31 lambda/D in quadrature; at D/r0 = 3 it is 0.8 to 1.04 by kind. (Coma without
    /// seeing is left out: what it adds depends on how the width of a lopsided image is defined.)</summary>
    [Theory]
    [InlineData(0, 11, 0, 0.05)]
    [InlineData(0, 6, 0.31, 0.02)]
    [InlineData(3, 6, 0.8, 0.05)]
    [InlineData(3, 8, 1.04, 0.05)]
    public void Aberrations_add_what_another_simulation_found(double apertureOverR0, int noll, double adds, double tolerance)
    {
        double c = 550 / (2 * Math.PI) * Math.Sqrt(-Math.Log(0.8)), seeing = Seeing.FwhmFactor * apertureOverR0;
        double with = Width(seeing, 0, (noll, c)), without = Width(seeing);
        Assert.Equal(adds, Math.Sqrt(Math.Max(0, (with * with) - (without * without))), tolerance);
    }
}
