using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>What a star's image is drawn from.</summary>
public sealed record DiffractionImageRequest
{
    /// <summary>What lets light through.</summary>
    public PupilShape Pupil { get; init; } = PupilShape.Clear;

    /// <summary>Aperture, mm.</summary>
    public required double ApertureMm { get; init; }

    /// <summary>Focal length, mm.</summary>
    public required double FocalLengthMm { get; init; }

    /// <summary>Which Zernike polynomials.</summary>
    public IReadOnlyList<ZernikeIndex> Modes { get; init; } = [];

    /// <summary>Their coefficients, nm RMS, positive where the wave is ahead.</summary>
    public IReadOnlyList<double> CoefficientsNm { get; init; } = [];

    /// <summary>Wavelengths and weights.</summary>
    public IReadOnlyList<SpectralSample> Spectrum { get; init; } = [new(550)];

    /// <summary>Sensor position from the focus of the reference wavelength, um, positive outside.</summary>
    public double ShiftUm { get; init; }

    /// <summary>Seeing FWHM in arcseconds at <see cref="SeeingWavelengthNm"/>, long exposure; 0 for none.</summary>
    public double SeeingFwhmArcsec { get; init; }

    /// <summary>Wavelength the seeing is stated for.</summary>
    public double SeeingWavelengthNm { get; init; } = 500;

    /// <summary>Trail by drift during the exposure, um in the focal plane, x.</summary>
    public double DriftXUm { get; init; }

    /// <summary>Trail by drift during the exposure, um in the focal plane, y.</summary>
    public double DriftYUm { get; init; }

    /// <summary>RMS of fast image motion per axis beyond the seeing (guiding, wind), um.</summary>
    public double JitterUm { get; init; }

    /// <summary>Pixel pitch, um.</summary>
    public required double PitchUm { get; init; }

    /// <summary>Pixels along each side of the stamp.</summary>
    public int Size { get; init; } = 64;

    /// <summary>Samples a pixel and axis in what comes back; each is the light in a whole pixel centred there.</summary>
    public int Oversampling { get; init; } = 1;

    /// <summary>Position of the star from the centre of pixel size/2, in pixels, x.</summary>
    public double OffsetXPix { get; init; }

    /// <summary>Position of the star from the centre of pixel size/2, in pixels, y.</summary>
    public double OffsetYPix { get; init; }

    /// <summary>Light integrated over square pixels; false draws the intensity at points (times the pixel's area).</summary>
    public bool IntegratePixels { get; init; } = true;

    /// <summary>Take into account that the cone's end moves: focal ratio N (1 + dz/f), W020 = dz / (8 N^2 (1 + dz/f)). False keeps the
    /// leading order dz / (8 N^2).</summary>
    public bool FiniteDistance { get; init; } = true;

    /// <summary>Least number of pupil samples across; more are taken when defocus and width ask for them.</summary>
    public int PupilSamples { get; init; } = 128;

    /// <summary>Throws when the request can never work.</summary>
    public void RequireValid()
    {
        Pupil.RequireValid();
        InputException.RequireRange(ApertureMm, 1, 50_000, nameof(ApertureMm), "mm");
        InputException.RequireRange(FocalLengthMm, 1, 1_000_000, nameof(FocalLengthMm), "mm");
        InputException.RequireRange(PitchUm, 0.1, 1000, nameof(PitchUm), "um");
        InputException.RequireRange(SeeingFwhmArcsec, 0, 100, nameof(SeeingFwhmArcsec), "arcsec");
        InputException.RequireRange(Size, 4, 2048, nameof(Size), "pix");
        InputException.RequireRange(Oversampling, 1, 32, nameof(Oversampling), "samples a pixel");
        InputException.RequireRange(PupilSamples, 32, 1024, nameof(PupilSamples), "samples");
        InputException.RequireRange(Math.Abs(ShiftUm), 0, FocalLengthMm * 100, nameof(ShiftUm), "um");
        SpectralSample.RequireValid(Spectrum);
        if (Modes.Count != CoefficientsNm.Count)
        {
            throw new InputException("image.modes", $"{Modes.Count} Zernike modes and {CoefficientsNm.Count} coefficients were given; give one for each.",
                "coefficients_nm");
        }
    }
}

/// <summary>Image of a star: share of the light that the pupil passes, per pixel.</summary>
/// <param name="Values">Row y after row, x fastest; (Size x Oversampling)^2 values.</param>
/// <param name="Size">Pixels along each side.</param>
/// <param name="Oversampling">Samples a pixel and axis; the star's nominal place is sample (Size/2) x Oversampling plus the offset.</param>
public sealed record DiffractionStamp(double[] Values, int Size, int Oversampling)
{
    /// <summary>Samples along each side.</summary>
    public int Side => Size * Oversampling;

    /// <summary>Share of the light inside the stamp (the mean over the sub-pixel positions).</summary>
    public double Share => Values.Sum() / (Oversampling * (double)Oversampling);

    /// <summary>Centroid from the nominal place in pixels, over the whole stamp.</summary>
    public (double X, double Y) Centroid()
    {
        double sum = 0;
        double sx = 0;
        double sy = 0;
        int centre = Size / 2 * Oversampling;
        for (int j = 0; j < Side; j++)
        {
            for (int i = 0; i < Side; i++)
            {
                double v = Values[(j * Side) + i];
                sum += v;
                sx += v * (i - centre);
                sy += v * (j - centre);
            }
        }

        return (sx / sum / Oversampling, sy / sum / Oversampling);
    }

    /// <summary>Radius in pixels round the centroid that holds half of the stamp's light, by the sub-pixel samples.</summary>
    public double HalfFluxRadiusPix()
    {
        (double cx, double cy) = Centroid();
        int centre = Size / 2 * Oversampling;
        double x0 = centre + (cx * Oversampling);
        double y0 = centre + (cy * Oversampling);
        double reach = Math.Max(1, Math.Min(Math.Min(x0, Side - 1 - x0), Math.Min(y0, Side - 1 - y0)));

        // Light in rings a quarter sample wide; half of it is found by interpolation between ring edges.
        const int Fine = 4;
        double[] rings = new double[((int)reach * Fine) + 2];
        double total = 0;
        for (int j = 0; j < Side; j++)
        {
            for (int i = 0; i < Side; i++)
            {
                double v = Values[(j * Side) + i];
                double dx = i - x0;
                double dy = j - y0;
                total += v;

                // Each sample is spread over 4 x 4 points of its square.
                for (int b = 0; b < Fine; b++)
                {
                    double py = dy + ((b + 0.5) / Fine) - 0.5;
                    for (int a = 0; a < Fine; a++)
                    {
                        double px = dx + ((a + 0.5) / Fine) - 0.5;
                        int ring = (int)(Math.Sqrt((px * px) + (py * py)) * Fine);
                        if (ring < rings.Length)
                        {
                            rings[ring] += v / (Fine * Fine);
                        }
                    }
                }
            }
        }

        double inside = 0;
        for (int k = 0; k < rings.Length; k++)
        {
            if (inside + rings[k] >= total / 2)
            {
                return (k + (((total / 2) - inside) / rings[k])) / Fine / Oversampling;
            }

            inside += rings[k];
        }

        return double.NaN;
    }
}
