using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>Light of stars: Bessell 1998 (zero points), Merline and Howell 1995 (CCD equation), Howell (magnitude error).</summary>
public class PhotometryTests
{
    [Theory]
    [InlineData(0, 1, 6.88e7)]
    [InlineData(2, 0.5, 5.46e6)]
    public void Electrons_from_a_star(double magnitude, double efficiency, double rate) =>
        Assert.Equal(rate, Photometry.ElectronRate(magnitude, 100, 0, 88, efficiency), rate * 1e-3);

    [Fact]
    public void Zero_points_agree_with_the_flux_densities()
    {
        // Bessell, Castelli and Plez 1998: V 3636, R 3064, I 2416 Jy at 545, 641, 798 nm; 1 Jy = 1.51e7 photons
        // s^-1 m^-2 per unit of d(lambda)/lambda (Oke and Gunn; Huchra). Agreement asked: 3 %, by pivot wavelength.
        static double FromJansky(double jy, double nm) => 1.51e7 * jy / nm / 1e4;
        Assert.Equal(1, Photometry.PhotonsVZero / FromJansky(3636, 545), 0.03);
        Assert.Equal(1, Photometry.PhotonsRZero / FromJansky(3064, 641), 0.03);
        Assert.Equal(1, Photometry.PhotonsIZero / FromJansky(2416, 798), 0.03);
    }

    [Fact]
    public void Signal_to_noise_in_its_limits()
    {
        Assert.Equal(100, Photometry.SignalToNoise(1e4, 50, double.PositiveInfinity, 0, 0, 0, 0), 9);
        double byHand = 5000 / Math.Sqrt(5000 + (80 * (1 + (80.0 / 400)) * (30 + 2 + 9 + (0.289 * 0.289 * 4))));
        Assert.Equal(byHand, Photometry.SignalToNoise(5000, 80, 400, 30, 2, 3, 2), 9);
        Assert.Equal(1.0857 / 50, Photometry.MagnitudeError(50), 1e-6);
    }

    [Fact]
    public void Peak_pixel_and_exposure()
    {
        // The share of a Gaussian in a small pixel is its peak density: 4 ln 2 / (pi FWHM^2).
        Assert.Equal(1, Photometry.PeakShare(50) / (4 * Math.Log(2) / (Math.PI * 2500)), 1e-3);
        Assert.Equal(2, Photometry.LongestExposureS(1e5, 0.1, 21000, 500), 12);
        Assert.True(double.IsPositiveInfinity(Photometry.LongestExposureS(0, 0.1, 21000)));
        Assert.Equal(4 / (Math.PI * 400), Photometry.DefocusedShare(7 * 3.76 * 20, 7, 3.76), 12);
    }
}
