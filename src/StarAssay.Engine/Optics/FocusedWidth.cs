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
}

/// <summary>Width of a star's image as the optics and the air make it, before any pixel.</summary>
public static class FocusedWidth
{
    private const int Side = 96;
    private const int AcrossWidth = 24;

    /// <summary>FWHM in arcsec: diameter of the circle whose area is that of the image above half its peak, which for an ellipse
    /// is the geometric mean of its two widths.</summary>
    public static double Arcsec(FocusedWidthRequest request)
    {
        InputException.RequireRange(request.SeeingFwhmArcsec, 0, 100, "seeing_fwhm_arcsec", "arcsec");
        double diffraction = 1.02899 * request.WavelengthNm * 1e-6 / request.ApertureMm * Seeing.ArcsecPerRadian;
        double guess = double.Hypot(diffraction, request.SeeingFwhmArcsec);

        // The focal ratio has no say in angles: ten is as good as any.
        double focalLengthMm = 10 * request.ApertureMm;
        double umPerArcsec = focalLengthMm * 1000 / Seeing.ArcsecPerRadian;
        while (true)
        {
            double pitch = guess / AcrossWidth * umPerArcsec;
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
                PitchUm = pitch,
                Size = Side,
                IntegratePixels = false,
            });
            if (HalfArea(stamp.Values) is double area)
            {
                return 2 * Math.Sqrt(area / Math.PI) * pitch / umPerArcsec;
            }

            guess *= 1.5;
        }
    }

    /// <summary>Area above half the peak in samples, its outline straight between the crossings; null when it reaches the edge.</summary>
    private static double? HalfArea(double[] image)
    {
        double half = 0.5 * image.Max();
        double At(int x, int y) => image[(y * Side) + x] - half;
        for (int k = 0; k < Side; k++)
        {
            if (At(k, 0) > 0 || At(k, Side - 1) > 0 || At(0, k) > 0 || At(Side - 1, k) > 0)
            {
                return null;
            }
        }

        double area = 0;
        for (int y = 0; y + 1 < Side; y++)
        {
            for (int x = 0; x + 1 < Side; x++)
            {
                area += CellArea([At(x, y), At(x + 1, y), At(x + 1, y + 1), At(x, y + 1)]);
            }
        }

        return area;
    }

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
