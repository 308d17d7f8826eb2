using System.Numerics;
using CsCheck;
using MathNet.Numerics.IntegralTransforms;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>
/// Simulated images against the closed forms (sources beside those: Airy, Born and Wolf, Fried), at the tolerances of a
/// sampled image: 0.5 % of ring radii and widths, 1 % of the half-flux radius, 0.003 to 0.005 of encircled energy and MTF.
/// </summary>
public class DiffractionImageTests
{
    // f/8 at 500 nm: lambda N = 4 um; a pitch of 1 um gives 4 pixels for each.
    private static readonly DiffractionImageRequest Perfect = new()
    {
        ApertureMm = 100,
        FocalLengthMm = 800,
        PitchUm = 1,
        Spectrum = [new(500)],
        Size = 256,
        IntegratePixels = false,
        FiniteDistance = false,
        PupilSamples = 192,
    };

    [Theory]
    [InlineData(0.0)]
    [InlineData(0.2)]
    [InlineData(0.33)]
    [InlineData(0.5)]
    public void Perfect_image_is_the_Airy_pattern(double e)
    {
        DiffractionStamp stamp = DiffractionImage.Draw(Perfect with { Pupil = new PupilShape { Obstruction = e } });
        double[] v = stamp.Values;
        int c = stamp.Size / 2;
        double peak = v[(c * stamp.Size) + c];

        // Peak per area: pi / 4 (1 - e^2) / (lambda N)^2 of the transmitted light.
        Assert.Equal(1, peak / (Math.PI / 4 * (1 - (e * e)) / 16), 2e-3);
        double worst = 0;
        for (int i = 0; i < 60; i++)
        {
            worst = Math.Max(worst, Math.Abs((v[(c * stamp.Size) + c + i] / peak) - Airy.Intensity(i / 4.0, e)));
            worst = Math.Max(worst, Math.Abs((v[((c + i) * stamp.Size) + c + i] / peak) - Airy.Intensity(i * Math.Sqrt(2) / 4, e)));
        }

        Assert.InRange(worst, 0, 1e-3);

        // Encircled energy by summing samples, in units of all light that passed.
        foreach (double radius in new[] { Airy.DarkRing(1, e), 3, 5 })
        {
            Assert.Equal(Airy.EncircledEnergy(radius, e), SumWithin(stamp, radius * 4), 4e-3);
        }
    }

    [Theory]
    [InlineData(0.0)]
    [InlineData(0.33)]
    public void Transform_of_the_image_is_the_modulation_transfer(double e)
    {
        DiffractionStamp stamp = DiffractionImage.Draw(Perfect with { Pupil = new PupilShape { Obstruction = e } });
        Complex[] spectrum = Spectrum(stamp);
        for (int k = 4; k < 64; k += 3)
        {
            // Sample k is k / 256 cycles a um, the cutoff 1 / 4 um: fraction k / 64. The frame cuts off the far wings, which
            // the first frequencies miss.
            Assert.Equal(Airy.Mtf(k / 64.0, e), spectrum[k].Magnitude, 8e-3);
        }
    }

    [Theory]
    [InlineData(0.25)]
    [InlineData(0.5)]
    [InlineData(0.75)]
    [InlineData(-1.5)]
    [InlineData(2.5)]
    public void Defocus_lowers_the_center_as_sinc_squared(double waves)
    {
        double shift = Defocus.ShiftUm(waves * 500, 8);
        int c = 32;
        double perfect = DiffractionImage.Draw(Perfect with { Size = 64 }).Values[(c * 64) + c];
        double here = DiffractionImage.Draw(Perfect with { Size = 64, ShiftUm = shift }).Values[(c * 64) + c];
        Assert.Equal(Defocus.StrehlRatio(waves), here / perfect, 1e-3);

        // The same wavefront as a Zernike coefficient gives the same image.
        double byMode = DiffractionImage.Draw(Perfect with
        {
            Size = 64,
            Modes = [ZernikeIndex.FromNoll(4)],
            CoefficientsNm = [Defocus.ZernikeOf(waves * 500)],
        }).Values[(c * 64) + c];
        Assert.Equal(here / perfect, byMode / perfect, 2e-4);
    }

    [Fact]
    public void Defocused_modulation_follows_Hopkins()
    {
        DiffractionStamp stamp = DiffractionImage.Draw(Perfect with { ShiftUm = Defocus.ShiftUm(250, 8) });
        Complex[] spectrum = Spectrum(stamp);
        for (int k = 4; k < 64; k += 3)
        {
            Assert.Equal(Defocus.Mtf(k / 64.0, 0.5), spectrum[k].Magnitude, 8e-3);
        }
    }

    [Fact]
    public void Half_flux_radius_of_a_wide_disc_is_geometric()
    {
        // 20 waves at f/8: disc 160 lambda N = 640 um across; 4 um pixels. (At 12 waves the dark center of whole waves still
        // costs 1.3 %, by the Hankel integral as well.)
        double shift = Defocus.ShiftUm(20 * 500, 8);
        foreach (double e in new[] { 0.0, 0.35 })
        {
            DiffractionStamp stamp = DiffractionImage.Draw(Perfect with
            {
                Pupil = new PupilShape { Obstruction = e },
                PitchUm = 3.99,
                Size = 176,
                IntegratePixels = true,
                ShiftUm = shift,
            });
            Assert.Equal(1, stamp.HalfFluxRadiusPix() * 3.99 / Defocus.HalfFluxRadius(shift, 8, e), 0.01);
        }
    }

    [Fact]
    public void Intensity_at_the_geometric_edge_is_a_quarter_of_the_mean()
    {
        // Fresnel diffraction at an edge, Born and Wolf ch. 8.7: 0.22 of the mean level at 5 waves, tolerance 0.02.
        DiffractionStamp stamp = DiffractionImage.Draw(Perfect with { ShiftUm = Defocus.ShiftUm(5 * 500, 8) });
        int c = stamp.Size / 2;
        double mean = 1 / (Math.PI * 80 * 80);
        Assert.Equal(0.22, stamp.Values[(c * stamp.Size) + c + 80] / mean, 0.02);
    }

    [Theory]
    [InlineData(1.0)]
    [InlineData(3.0)]
    [InlineData(5.0)]
    public void Long_exposure_width_is_that_of_the_product_of_transfers(double apertureOverR0)
    {
        double r0 = 0.1 / apertureOverR0;
        double fwhmArcsec = Seeing.FwhmFromR0(r0, 500);

        // lambda / r0 in um on the sensor is lambda N times D / r0.
        double unit = 4 * apertureOverR0;
        DiffractionStamp stamp = DiffractionImage.Draw(Perfect with
        {
            SeeingFwhmArcsec = fwhmArcsec,
            SeeingWavelengthNm = 500,
            Size = 200,
            PupilSamples = 128
        });
        int c = stamp.Size / 2;
        double peak = stamp.Values[(c * stamp.Size) + c];
        int i = 0;
        while (stamp.Values[(c * stamp.Size) + c + i + 1] > peak / 2)
        {
            i++;
        }

        double a = stamp.Values[(c * stamp.Size) + c + i];
        double b = stamp.Values[(c * stamp.Size) + c + i + 1];
        double half = i + ((a - (peak / 2)) / (a - b));
        Assert.Equal(1, 2 * half / unit / Seeing.CombinedFwhm(apertureOverR0), 5e-3);
    }

    [Fact]
    public void Pixels_add_a_twelfth_to_the_variance()
    {
        // Second moments of a jittered, otherwise tiny image (f/2 and little diffraction): s^2 + 1/12 pixel^2.
        DiffractionImageRequest request = Perfect with
        {
            FocalLengthMm = 200,
            PitchUm = 4,
            Size = 32,
            JitterUm = 6,
            IntegratePixels = true,
            PupilSamples = 256
        };
        double Variance(DiffractionImageRequest r)
        {
            DiffractionStamp stamp = DiffractionImage.Draw(r);
            int c = stamp.Size / 2;
            double sum = 0;
            double second = 0;
            for (int j = c - 12; j <= c + 12; j++)
            {
                for (int i = c - 12; i <= c + 12; i++)
                {
                    double v = stamp.Values[(j * stamp.Size) + i];
                    sum += v;
                    second += v * (i - c) * (i - c);
                }
            }

            return second / sum;
        }

        Assert.Equal(1.0 / 12, Variance(request) - Variance(request with { IntegratePixels = false }), 2e-3);
    }

    [Fact]
    public void Light_is_conserved_whatever_the_aberration() =>
        Gen.Select(Gen.Double[-300, 300], Gen.Double[-60, 60], Gen.Double[-60, 60], Gen.Double[0.5, 3]).Sample(
            p =>
            {
                DiffractionStamp stamp = DiffractionImage.Draw(Perfect with
                {
                    PitchUm = 2,
                    Size = 100,
                    ShiftUm = p.Item1,
                    Modes = ZernikeIndex.NollRange(7, 8),
                    CoefficientsNm = [p.Item2, p.Item3],
                    SeeingFwhmArcsec = p.Item4,
                    IntegratePixels = true,
                    PupilSamples = 96,
                });
                return stamp.Share is > 0.975 and < 1.0005;
            },
            iter: 12);

    [Fact]
    public void Offset_shifts_the_image() =>
        Gen.Select(Gen.Double[-2, 2], Gen.Double[-2, 2]).Sample(
            p =>
            {
                DiffractionImageRequest request = Perfect with { PitchUm = 2, Size = 96, SeeingFwhmArcsec = 2, PupilSamples = 96 };
                (double x0, double y0) = DiffractionImage.Draw(request).Centroid();
                (double x, double y) = DiffractionImage.Draw(request with { OffsetXPix = p.Item1, OffsetYPix = p.Item2 }).Centroid();

                // The finite stamp cuts the wings unevenly: a hundredth of a pixel.
                return Math.Abs(x - x0 - p.Item1) < 0.03 && Math.Abs(y - y0 - p.Item2) < 0.03;
            },
            iter: 10);

    [Fact]
    public void Whole_pixel_offset_moves_every_pixel()
    {
        DiffractionImageRequest request = Perfect with { Size = 100, Modes = [ZernikeIndex.FromNoll(8)], CoefficientsNm = [60], PupilSamples = 96 };
        double[] at0 = DiffractionImage.Draw(request).Values;
        double[] at3 = DiffractionImage.Draw(request with { OffsetXPix = 3, OffsetYPix = -2 }).Values;
        for (int j = 20; j < 80; j++)
        {
            for (int i = 20; i < 80; i++)
            {
                Assert.Equal(at0[(j * 100) + i], at3[((j - 2) * 100) + i + 3], 1e-9);
            }
        }
    }

    [Fact]
    public void Rotating_the_wavefront_rotates_the_image()
    {
        ZernikeIndex[] modes = ZernikeIndex.NollRange(5, 10);
        double[] c = [40, -25, 30, 10, -20, 35];
        double[] quarter = Zernike.Rotate(modes, c, Math.PI / 2);
        DiffractionImageRequest request = Perfect with { Size = 100, Modes = modes, CoefficientsNm = c, ShiftUm = 120, PupilSamples = 96 };
        double[] a = DiffractionImage.Draw(request).Values;
        double[] b = DiffractionImage.Draw(request with { CoefficientsNm = quarter }).Values;
        double peak = a.Max();
        for (int j = -40; j <= 40; j++)
        {
            for (int i = -40; i <= 40; i++)
            {
                // Counterclockwise by 90 degrees: (i, j) goes to (-j, i).
                Assert.Equal(a[((50 + j) * 100) + 50 + i] / peak, b[((50 + i) * 100) + 50 - j] / peak, 1e-6);
            }
        }
    }

    [Fact]
    public void Inside_focus_the_pupil_stands_upright_and_undercorrection_has_a_bright_rim()
    {
        // A cut on the right of the pupil darkens the right side inside focus, the left side outside.
        PupilShape cut = new() { Vignetting = new VignettedEdge(-0.6, 0, 1) };
        double shift = Defocus.ShiftUm(8 * 500, 8);
        DiffractionImageRequest request = Perfect with { Pupil = cut, PitchUm = 4, Size = 96, IntegratePixels = true };
        Assert.True(DiffractionImage.Draw(request with { ShiftUm = -shift }).Centroid().X < -2);
        Assert.True(DiffractionImage.Draw(request with { ShiftUm = shift }).Centroid().X > 2);

        // Positive Noll 11, inside: the disc is smaller in its middle light, brighter at the rim.
        DiffractionImageRequest spherical = Perfect with
        {
            PitchUm = 4,
            Size = 96,
            IntegratePixels = true,
            Modes = [ZernikeIndex.FromNoll(11)],
            CoefficientsNm = [60]
        };
        double inside = SumWithin(DiffractionImage.Draw(spherical with { ShiftUm = -shift }), 20);
        double outside = SumWithin(DiffractionImage.Draw(spherical with { ShiftUm = shift }), 20);
        Assert.True(inside < 0.9 * outside, $"{inside} {outside}");
    }

    [Fact]
    public void Tilt_moves_the_image_by_two_N_times_the_slope()
    {
        // Ray mapping (Welford): displacement -2 N dW/drho; Z2 = 2 rho cos t, so 100 nm of it is a slope of 200 nm.
        DiffractionStamp stamp = DiffractionImage.Draw(Perfect with
        {
            Size = 128,
            Modes = [ZernikeIndex.FromNoll(2)],
            CoefficientsNm = [100],
            SeeingFwhmArcsec = 1.5
        });
        Assert.Equal(-2 * 8 * 0.2, stamp.Centroid().X, 0.05);

        // An even stamp holds one row more of the wings below than above.
        Assert.Equal(0, stamp.Centroid().Y, 0.01);
    }

    [Fact]
    public void Polychromatic_image_is_the_weighted_sum()
    {
        DiffractionImageRequest request = Perfect with { Size = 64, SeeingFwhmArcsec = 1 };
        double[] blue = DiffractionImage.Draw(request with { Spectrum = [new(450, 1, 80)] }).Values;
        double[] red = DiffractionImage.Draw(request with { Spectrum = [new(650, 1, -30)] }).Values;
        double[] both = DiffractionImage.Draw(request with { Spectrum = [new(450, 3, 80), new(650, 1, -30)] }).Values;
        for (int i = 0; i < both.Length; i++)
        {
            Assert.Equal((0.75 * blue[i]) + (0.25 * red[i]), both[i], 2e-6);
        }
    }

    [Fact]
    public void A_request_that_contradicts_itself_is_refused()
    {
        Assert.Throws<InputException>(() => DiffractionImage.Draw(Perfect with { Modes = [ZernikeIndex.FromNoll(4)] }));
        Assert.Throws<InputException>(() => DiffractionImage.Draw(Perfect with { Spectrum = [] }));
        Assert.Throws<InputException>(() => DiffractionImage.Draw(Perfect with { SeeingFwhmArcsec = -1 }));
    }

    private static double SumWithin(DiffractionStamp stamp, double radius)
    {
        // Samples cut by the circle count by the share inside, on 8 x 8 points.
        int c = stamp.Size / 2;
        double sum = 0;
        for (int j = 0; j < stamp.Size; j++)
        {
            for (int i = 0; i < stamp.Size; i++)
            {
                double r = Math.Sqrt(((i - c) * (i - c)) + ((j - c) * (j - c)));
                double share = r < radius - 1 ? 1 : 0;
                if (Math.Abs(r - radius) <= 1)
                {
                    for (int k = 0; k < 64; k++)
                    {
                        double x = i - c + (((k & 7) + 0.5) / 8) - 0.5;
                        double y = j - c + (((k >> 3) + 0.5) / 8) - 0.5;
                        share += (x * x) + (y * y) < radius * radius ? 1.0 / 64 : 0;
                    }
                }

                sum += share * stamp.Values[(j * stamp.Size) + i];
            }
        }

        return sum;
    }

    private static Complex[] Spectrum(DiffractionStamp stamp)
    {
        // One axis suffices: sum along y, then transform; that is the line spread.
        int n = stamp.Size;
        var line = new Complex[n];
        for (int j = 0; j < n; j++)
        {
            for (int i = 0; i < n; i++)
            {
                line[i] += stamp.Values[(j * n) + i];
            }
        }

        Fourier.Forward(line, FourierOptions.AsymmetricScaling);
        return line;
    }
}
