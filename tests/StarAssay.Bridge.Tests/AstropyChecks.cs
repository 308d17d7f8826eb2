using Python.Runtime;
using StarAssay.Bridge.Astropy;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Measurements.PlateScale;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge.Tests;

/// <summary>The engine beside Astropy, SciPy and NumPy, called from C#: the independent check of closed forms.</summary>
[Collection(PythonCollection.Name)]
public sealed class AstropyChecks
{
    [PythonFact]
    public void Airy_pattern_is_Astropys()
    {
        // astropy.modeling.models.AiryDisk2D takes the radius of the first dark ring.
        double[] expected = Ask("list(AiryDisk2D(1, 0, 0, 1.2196698912665045)([0, .3, .8, 1.5, 2.6, 4.0], [0, 0, 0, 0, 0, 0]))",
            "from astropy.modeling.models import AiryDisk2D");
        double[] radii = [0, 0.3, 0.8, 1.5, 2.6, 4.0];
        for (int i = 0; i < radii.Length; i++)
        {
            Assert.Equal(expected[i], Airy.Intensity(radii[i]), 1e-9);
        }
    }

    [PythonFact]
    public void Air_wavelengths_are_those_of_Specutils()
    {
        // specutils.utils.wcs_utils, Morton 2000 and Ciddor 1996, applied to five vacuum wavelengths.
        const string Waves = "numpy.array([404.0, 486.2721, 546.2, 656.461, 850.0]) * u.nm";
        foreach ((AirFormula formula, string method) in new[] { (AirFormula.Morton, "Morton2000"), (AirFormula.Ciddor, "Ciddor1996") })
        {
            double[] expected = Ask($"list(vac_to_air({Waves}, method='{method}').to_value('nm'))",
                "import numpy\nfrom astropy import units as u\nfrom specutils.utils.wcs_utils import vac_to_air");
            double[] vacuum = [404.0, 486.2721, 546.2, 656.461, 850.0];
            for (int i = 0; i < vacuum.Length; i++)
            {
                Assert.Equal(expected[i], AirIndex.VacuumToAir(vacuum[i], formula), 1e-6);
            }
        }
    }

    [PythonFact]
    public void Airmass_tends_to_Astropys_secant_high_in_the_sky()
    {
        // AltAz.secz is the plane-parallel secant; Kasten and Young 1989 stays within 0.1 % of it to z = 45 deg.
        double[] secant = Ask("[float(AltAz(alt=a*u.deg, az=0*u.deg).secz) for a in (80, 60, 45)]",
            "from astropy import units as u\nfrom astropy.coordinates import AltAz");
        double[] zenith = [10, 30, 45];
        for (int i = 0; i < zenith.Length; i++)
        {
            Assert.Equal(secant[i], Atmosphere.AirmassKastenYoung(zenith[i]), 0.0015 * secant[i]);
        }
    }

    [PythonFact]
    public void Zernike_polynomials_are_orthonormal_on_points_that_NumPy_spreads()
    {
        // Noll 1976: the mean of Zi Zj over the disc is 1 for i = j, else 0. Points and weights are NumPy's Gauss rule
        // in rho^2 and even angles, exact for these degrees.
        double[] nodes = Ask("list(0.5 + 0.5*numpy.polynomial.legendre.leggauss(16)[0])", "import numpy");
        double[] weights = Ask("list(0.5*numpy.polynomial.legendre.leggauss(16)[1])", "import numpy");
        ZernikeIndex[] modes = ZernikeIndex.NollRange(1, 28);
        double[,] gram = new double[modes.Length, modes.Length];
        const int Angles = 32;
        for (int i = 0; i < nodes.Length; i++)
        {
            for (int a = 0; a < Angles; a++)
            {
                (double s, double c) = Math.SinCos(2 * Math.PI * a / Angles);
                double rho = Math.Sqrt(nodes[i]);
                double[] z = [.. modes.Select(m => Zernike.Evaluate(m, rho * c, rho * s))];
                for (int j = 0; j < z.Length; j++)
                {
                    for (int k = 0; k < z.Length; k++)
                    {
                        gram[j, k] += weights[i] * z[j] * z[k] / Angles;
                    }
                }
            }
        }

        for (int j = 0; j < modes.Length; j++)
        {
            for (int k = 0; k < modes.Length; k++)
            {
                Assert.Equal(j == k ? 1 : 0, gram[j, k], 1e-12);
            }
        }
    }

    [PythonFact]
    public void Decoded_rows_are_what_Astropy_scales()
    {
        string path = Path.Combine(Path.GetTempPath(), $"starassay-{Guid.NewGuid():N}.fits");
        try
        {
            double[] expected = Ask("list(fits.getdata(path).astype(float).ravel())",
                $"import numpy\nfrom astropy.io import fits\npath = '{path}'\n"
                + "fits.PrimaryHDU((numpy.arange(35, dtype='uint32')*1777 % 65536).astype('uint16').reshape(5, 7)).writeto(path)");
            Frame frame = new AstropyImageReader().Read(path);
            var decoder = new RowDecoder(frame.Pixels);
            float[] row = new float[7];
            for (int y = 0; y < 5; y++)
            {
                decoder.Decode(y, 0, row);
                for (int x = 0; x < 7; x++)
                {
                    Assert.Equal(expected[(y * 7) + x], row[x]);
                }
            }
        }
        finally
        {
            File.Delete(path);
        }
    }

    [PythonFact]
    public void Plate_scale_is_that_of_Astropys_solution()
    {
        // astropy.wcs: a TAN solution of 2 arcsec a pixel, mirrored by its determinant; its own gnomonic plane comes from astropy.coordinates.
        const string Make = "import numpy\nfrom astropy import units as u\nfrom astropy.coordinates import SkyCoord\nfrom astropy.wcs import WCS\n"
            + "w = WCS(naxis=2)\nw.wcs.ctype = ['RA---TAN', 'DEC--TAN']\nw.wcs.crval = [83.0, -5.0]\nw.wcs.crpix = [501, 401]\n"
            + "w.wcs.cdelt = [2 / 3600, 2 / 3600]\nx, y = numpy.random.default_rng(3).uniform(0, 800, (2, 50))\n"
            + "sky = SkyCoord(*(w.all_pix2world(x, y, 0) * u.deg))\n"
            + "at = sky.transform_to(SkyCoord(83 * u.deg, -5 * u.deg).skyoffset_frame()).cartesian\n";
        var request = new PlateScaleRequest
        {
            X = Ask("x", Make),
            Y = Ask("y", Make),
            Xi = Ask("at.y / at.x", Make),
            Eta = Ask("at.z / at.x", Make),
            Width = 1001,
            Height = 801,
            PitchUm = 4,
        };
        PlateScaleResult found = PlateScaleMeasurement.Measure(request, RunContext.Default);
        double expected = Ask("proj_plane_pixel_scales(w) * 3600", Make + "from astropy.wcs.utils import proj_plane_pixel_scales")[0];
        Assert.Equal(expected, found.PixelScale.Value, 1e-8);
        Assert.Equal(0, found.DistortionEdge.Value, 1e-8);
        Assert.True(found.Mirrored);
    }

    private static double[] Ask(string expression, string preparation)
    {
        using (Py.GIL())
        {
            using PyModule scope = Py.CreateScope();
            scope.Exec(preparation);
            using PyObject list = scope.Eval($"[float(v) for v in {expression}]");
            return list.As<double[]>();
        }
    }
}
