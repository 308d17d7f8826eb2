using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using Xunit;

namespace StarAssay.Engine.Tests.Optics;

public class StarExposureTests
{
    private static readonly StarExposureRequest Star = new()
    {
        ApertureMm = 115,
        FocalLengthMm = 760,
        PitchUm = 3.76,
        Magnitude = 2.5,
        WavelengthNm = 545,
        BandwidthNm = 10,
        AltitudeDeg = 60,
        DefocusWaves = 7,
    };

    /// <summary>Bessell 1979: 3640 Jy at V = 0 (as tabulated by Huchra). A flux F in frequency is F / (h lambda) photons a second, area and
    /// length of wavelength. Bessell, Castelli and Plez 1998 print 996 for an angstrom, 1 % less: the tolerance is 3 %.</summary>
    [Fact]
    public void LightIsThatOfThePublishedZeroPoint()
    {
        StarExposure found = StarExposure.Of(Star);
        double photonsPerCm2Nm = 3640e-26 / (6.62607015e-34 * 545e-9) * 1e-4 * 1e-9;
        double above = photonsPerCm2Nm * Math.Pow(10, -0.4 * 2.5) * Math.PI / 4 * 11.5 * 11.5 * 10 * 0.5;
        double air = Math.Pow(10, -0.4 * found.Extinction);
        Assert.InRange(found.ElectronRate / (above * air), 0.97, 1.03);

        // Airmass at 60 degrees is sec z to 0.3 %; extinction at V is 0.15 magnitudes an airmass to 0.03 (Allen's Astrophysical Quantities, from
        // memory: 0.12 to 0.17 at good sites).
        Assert.Equal(1 / Math.Sin(Math.PI / 3), found.Airmass, 2);
        Assert.InRange(found.Extinction / found.Airmass, 0.12, 0.18);
    }

    /// <summary>8 N^2 W020 for the shift, |shift| / N for the disc; the disc as drawn without air has the half-flux radius of a uniform disc,
    /// its radius over sqrt 2, to 2 % (diffraction, docs/optics.md).</summary>
    [Fact]
    public void DiscIsTheGeometricOneAndThatOfADrawnFrame()
    {
        StarExposure found = StarExposure.Of(Star);
        double ratio = 760.0 / 115;
        double shift = 8 * ratio * ratio * 7 * 0.545;
        Assert.Equal(shift, found.DefocusUm, 6);
        Assert.Equal(shift / ratio / 3.76, found.BlurPx, 6);
        DiffractionStamp drawn = DiffractionImage.Draw(new DiffractionImageRequest
        {
            ApertureMm = 115,
            FocalLengthMm = 760,
            PitchUm = 3.76,
            Spectrum = [new SpectralSample(545)],
            ShiftUm = shift,
            Size = 128,
        });
        Assert.InRange(drawn.HalfFluxRadiusPix() * 2 * Math.Sqrt(2) / found.BlurPx, 0.98, 1.02);
    }

    [Fact]
    public void RingIsBrighterThanTheDiscInTheMeanAndAWorseSkyLongerToClip()
    {
        StarExposure found = StarExposure.Of(Star);
        double mean = Photometry.DefocusedShare(found.DefocusUm, 760.0 / 115, 3.76);
        Assert.InRange(found.PeakShare / mean, 1, 3);
        Assert.Equal(25_000, found.LongestS * found.ElectronRate * found.PeakShare, 3);
        Assert.True(StarExposure.Of(Star with { SeeingArcsec = 4 }).LongestS > found.LongestS);
        Assert.Equal(1e7, found.LightS * found.ElectronRate, 1);
    }

    /// <summary>Kolmogorov: seeing grows with airmass^(3/5); differential refraction with tan z.</summary>
    [Fact]
    public void LowStarsSeeMoreAir()
    {
        StarExposure high = StarExposure.Of(Star with { AltitudeDeg = 60 }), low = StarExposure.Of(Star with { AltitudeDeg = 30 });
        Assert.Equal(Math.Pow(low.Airmass / high.Airmass, 0.6), low.SeeingArcsec / high.SeeingArcsec, 6);
        Assert.Equal(3, low.DispersionArcsec / high.DispersionArcsec, 6);
        Assert.Equal(low.DispersionArcsec / (3.76e-3 / 760 * Seeing.ArcsecPerRadian), low.SmearPx, 6);
    }

    /// <summary>A column of a spectrum holds dispersion / band of the light, its brightest pixel the erf of the Gaussian across.</summary>
    [Fact]
    public void SpectrumSpreadsTheLightAlongOneAxis()
    {
        StarExposureRequest request = Star with { DefocusWaves = 0, BandwidthNm = 300, DispersionNmPerPx = 0.8 };
        StarExposure found = StarExposure.Of(request), star = StarExposure.Of(request with { DispersionNmPerPx = 0 });
        double s = found.BlurPx / 2.354820045;
        Assert.Equal(0.8 / 300 * MathNet.Numerics.SpecialFunctions.Erf(0.5 / (Math.Sqrt(2) * s)), found.PeakShare, 9);
        Assert.True(found.LongestS > 50 * star.LongestS);
    }

    [Fact]
    public void NonsenseIsRefused()
    {
        Assert.Contains("altitude", Assert.Throws<InputException>(() => StarExposure.Of(Star with { AltitudeDeg = 0 })).Message);
        Assert.Throws<InputException>(() => StarExposure.Of(Star with { Efficiency = 2 }));
    }

    /// <summary>The full Moon: V = -12.73 (Allen, from memory) over a disc of 932.6 arcsec radius gives 3.36 a square arcsecond; half of it lit
    /// is 10 times fainter as a whole (Allen: -10.0 at 90 degrees, from memory; 0.3).</summary>
    [Fact]
    public void MoonIsAsBrightAsTheHandbookSays()
    {
        var request = new MoonLimbRequest { ApertureMm = 115, FocalLengthMm = 760, PitchUm = 3.76, LevelElectrons = 20_000, LitShare = 1 };
        Moonlight full = Moonlight.Of(request);
        Assert.Equal(-12.73 + (2.5 * Math.Log10(Math.PI * 932.6 * 932.6)), full.Brightness, 6);
        Assert.InRange(Moonlight.Magnitude(90), -10.3, -9.7);
        Assert.True(Moonlight.Of(request with { LitShare = 0.5 }).LongestS > 2 * full.LongestS);

        // The time to the level by hand: photons a pixel, half of them electrons, twice that at the limb.
        double pixel = 3.76e-3 / 760 * 206264.806;
        double rate = 2 * 9960 * Math.Pow(10, -0.4 * full.Brightness) * Math.PI / 4 * 11.5 * 11.5 * 300 * 0.5 * pixel * pixel;
        Assert.Equal(20_000 / rate, full.LongestS, 9);
    }
}
