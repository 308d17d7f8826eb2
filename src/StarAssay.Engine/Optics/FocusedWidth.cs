using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>What the width of a focused star is asked of.</summary>
public sealed record FocusedWidthRequest
{
    /// <summary>What lets light through.</summary>
    public PupilShape Pupil { get; init; } = PupilShape.Clear;

    /// <summary>Aperture, mm.</summary>
    public required double ApertureMm { get; init; }

    /// <summary>Which Zernike polynomials.</summary>
    public IReadOnlyList<ZernikeIndex> Modes { get; init; } = [];

    /// <summary>Their coefficients, nm RMS.</summary>
    public IReadOnlyList<double> CoefficientsNm { get; init; } = [];

    /// <summary>Wavelength, nm.</summary>
    public required double WavelengthNm { get; init; }

    /// <summary>FWHM of the seeing alone at that wavelength, arcsec; 0 for none.</summary>
    public double SeeingFwhmArcsec { get; init; }

    /// <summary>Defocus, the wavefront's W020 at the edge of the aperture, nm.</summary>
    public double DefocusNm { get; init; }

    /// <summary>RMS of image motion in each axis (guiding, wind), arcsec: a Gaussian blur.</summary>
    public double JitterArcsec { get; init; }

    /// <summary>Length of a straight, even trail, arcsec.</summary>
    public double TrailArcsec { get; init; }

    /// <summary>Side of a square pixel over which the light is gathered, arcsec; 0 for none.</summary>
    public double PixelArcsec { get; init; }
}

/// <summary>Width of a star's image as optics, air and mount make it, and the pixel where one is asked for.</summary>
public static class FocusedWidth
{
    private const int Side = 96;
    private const int AcrossWidth = 24;

    /// <summary>FWHM in arcsec: diameter of the circle whose area is that of the image above half its peak, which for an ellipse
    /// is the geometric mean of its two widths.</summary>
    public static double Arcsec(FocusedWidthRequest request)
    {
        InputException.RequireRange(request.SeeingFwhmArcsec, 0, 100, "seeing_fwhm_arcsec", "arcsec");
        InputException.RequireRange(request.JitterArcsec, 0, 100, "jitter_arcsec", "arcsec");
        InputException.RequireRange(request.TrailArcsec, 0, 100, "trail_arcsec", "arcsec");
        InputException.RequireRange(request.PixelArcsec, 0, 100, "pixel_arcsec", "arcsec");
        double diffraction = 1.02899 * request.WavelengthNm * 1e-6 / request.ApertureMm * Seeing.ArcsecPerRadian;

        // The disc of defocus is 8 W020 / aperture wide. A first guess of the width alone: what is drawn is the product of transfers.
        double disc = 8e-6 * Math.Abs(request.DefocusNm) / request.ApertureMm * Seeing.ArcsecPerRadian;
        double guess = Math.Sqrt(Square(diffraction) + Square(request.SeeingFwhmArcsec) + Square(2.35 * request.JitterArcsec)
            + (0.5 * Square(request.TrailArcsec)) + (0.5 * Square(request.PixelArcsec)) + Square(disc));

        // The focal ratio has no say in angles: ten is as good as any.
        const double Ratio = 10;
        double focalLengthMm = Ratio * request.ApertureMm;
        double umPerArcsec = focalLengthMm * 1000 / Seeing.ArcsecPerRadian;
        while (true)
        {
            // A pixel that gathers light is drawn at places closer together than its side.
            bool gathers = request.PixelArcsec > 0;
            int finer = gathers ? Math.Clamp((int)Math.Ceiling(request.PixelArcsec * AcrossWidth / guess), 1, Side / 4) : 1;
            double pitch = (gathers ? request.PixelArcsec : guess / AcrossWidth) * umPerArcsec;
            int size = Math.Max(4, Side / finer);
            DiffractionStamp stamp = DiffractionImage.Draw(new DiffractionImageRequest
            {
                Pupil = request.Pupil,
                ApertureMm = request.ApertureMm,
                FocalLengthMm = focalLengthMm,
                Modes = request.Modes,
                CoefficientsNm = request.CoefficientsNm,
                Spectrum = [new SpectralSample(request.WavelengthNm)],
                SeeingFwhmArcsec = request.SeeingFwhmArcsec,
                SeeingWavelengthNm = request.WavelengthNm,
                ShiftUm = Defocus.ShiftUm(request.DefocusNm, Ratio),
                FiniteDistance = false,
                JitterUm = request.JitterArcsec * umPerArcsec,
                DriftXUm = request.TrailArcsec * umPerArcsec,
                PitchUm = pitch,
                Size = gathers ? size : Side,
                Oversampling = finer,
                IntegratePixels = gathers,
            });
            if (HalfArea(stamp.Values, stamp.Side) is double area)
            {
                return 2 * Math.Sqrt(area / Math.PI) * pitch / finer / umPerArcsec;
            }

            guess *= 1.5;
        }
    }

    /// <summary>Area above half the peak in samples, its outline straight between the crossings; null when it reaches the edge.</summary>
    private static double? HalfArea(double[] image, int side)
    {
        double half = 0.5 * image.Max();
        double At(int x, int y) => image[(y * side) + x] - half;
        for (int k = 0; k < side; k++)
        {
            if (At(k, 0) > 0 || At(k, side - 1) > 0 || At(0, k) > 0 || At(side - 1, k) > 0)
            {
                return null;
            }
        }

        double area = 0;
        for (int y = 0; y + 1 < side; y++)
        {
            for (int x = 0; x + 1 < side; x++)
            {
                area += CellArea([At(x, y), At(x + 1, y), At(x + 1, y + 1), At(x, y + 1)]);
            }
        }

        return area;
    }

    private static double Square(double x) => x * x;

    // The part of a unit square above zero, by the values at its corners taken round it.
    private static double CellArea(ReadOnlySpan<double> corner)
    {
        ReadOnlySpan<(double X, double Y)> place = [(0, 0), (1, 0), (1, 1), (0, 1)];
        Span<(double X, double Y)> outline = stackalloc (double, double)[8];
        int n = 0;
        for (int k = 0; k < 4; k++)
        {
            int next = (k + 1) % 4;
            if (corner[k] > 0)
            {
                outline[n++] = place[k];
            }

            if (corner[k] > 0 != corner[next] > 0)
            {
                double t = corner[k] / (corner[k] - corner[next]);
                outline[n++] = (place[k].X + (t * (place[next].X - place[k].X)), place[k].Y + (t * (place[next].Y - place[k].Y)));
            }
        }

        double twice = 0;
        for (int k = 0; k < n; k++)
        {
            (double X, double Y) a = outline[k], b = outline[(k + 1) % n];
            twice += (a.X * b.Y) - (b.X * a.Y);
        }

        return twice / 2;
    }
}
