using System.Text.Json.Serialization;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>How the camera's picture lies relative to the pupil seen along the light.</summary>
public enum Orientation
{
    /// <summary>Sensor axes are pupil axes: no mirror in between, or an even number.</summary>
    Direct,

    /// <summary>A diagonal, or any odd number of mirrors, has flipped left and right.</summary>
    FlippedX,

    /// <summary>An odd number of mirrors has flipped up and down (the same as <see cref="FlippedX"/> and half a turn).</summary>
    FlippedY,

    /// <summary>The picture was turned by half a turn.</summary>
    Rotated180,
}

/// <summary>One or more pairs of images of a bright star inside and outside of focus, and what is known of telescope and light.</summary>
public sealed record WavefrontRequest
{
    /// <summary>Images, an even number: inside, outside, inside, outside, ...; whole frames or crops.</summary>
    [JsonIgnore]
    [HandedOver("frame")]
    public IReadOnlyList<Frame> Frames { get; init; } = [];

    /// <summary>Diameter of the entrance pupil, mm.</summary>
    public required double ApertureMm { get; init; }

    /// <summary>Focal length at the sensor, reducer included, mm.</summary>
    public required double FocalLengthMm { get; init; }

    /// <summary>Pupil.</summary>
    public PupilShape Pupil { get; init; } = PupilShape.Clear;

    /// <summary>Wavelengths of the band, nm.</summary>
    public required double[] WavelengthsNm { get; init; }

    /// <summary>Shares of the detected light at those wavelengths; empty = equal.</summary>
    public double[] Weights { get; init; } = [];

    /// <summary>Pixel pitch, um; NaN = the frames' own.</summary>
    public double PitchUm { get; init; } = double.NaN;

    /// <summary>Distances of the sensor from best focus for each image, um, negative inside; empty or NaN = not known.
    /// Only compared with what the images show, since their size says it better.</summary>
    public double[] DistancesUm { get; init; } = [];

    /// <summary>Middle of each image's exposure, hours from any start; empty or NaN = not known. Three pairs or more of one night are then followed in
    /// time.</summary>
    [Field(Unit = "h")]
    public double[] Times { get; init; } = [];

    /// <summary>Place of the focuser for each image, um, growing away from the objective; empty or NaN = not known.</summary>
    public double[] FocuserUm { get; init; } = [];

    /// <summary>How the picture lies.</summary>
    public Orientation Orientation { get; init; }

    /// <summary>Seeing, FWHM in arcsec at the mean wavelength: held when <see cref="HoldSeeing"/>, else only a start; NaN = found by the fit.</summary>
    public double SeeingArcsec { get; init; } = double.NaN;

    /// <summary>True: keep the seeing as given.</summary>
    public bool HoldSeeing { get; init; }

    /// <summary>RMS guiding jitter along each axis, arcsec.</summary>
    public double JitterArcsec { get; init; }

    /// <summary>Fewest modes: up to this Noll number.</summary>
    public int LeastNoll { get; init; } = 22;

    /// <summary>Most modes that the stopping rule may use. Beyond 45 it may also use rings, modes without angle up to radial order 32.</summary>
    public int MostNoll { get; init; } = 136;

    /// <summary>Standard uncertainties of what is held fixed.</summary>
    public KnownTo KnownTo { get; init; } = new();

    /// <summary>Samples across the wavefront map.</summary>
    public int MapSize { get; init; } = 128;

    internal double FocalRatio => FocalLengthMm / ApertureMm;

    internal void RequireValid()
    {
        if (Frames.Count < 2 || Frames.Count % 2 != 0)
        {
            throw new InputException("wavefront.pairs", $"{Frames.Count} images were given; the measurement takes pairs, one inside and one outside of " +
                "focus each.", "frames");
        }

        InputException.RequireRange(ApertureMm, 5, 20000, "aperture", "mm");
        InputException.RequireRange(FocalLengthMm, 10, 500000, "focal_length", "mm");
        InputException.RequireRange(FocalRatio, 1.5, 100, "focal_length / aperture", "");
        if (WavelengthsNm.Length == 0 || (Weights.Length != 0 && Weights.Length != WavelengthsNm.Length))
        {
            throw new InputException("wavefront.band", $"{WavelengthsNm.Length} wavelengths and {Weights.Length} weights were given. Give one wavelength, " +
                "or as many weights as wavelengths.", "wavelength");
        }

        foreach (double l in WavelengthsNm)
        {
            InputException.RequireRange(l, 200, 20000, "wavelength", "nm");
        }

        foreach (double w in Weights)
        {
            InputException.RequireRange(w, 0, double.MaxValue, "weights", "");
        }

        if (Weights.Length > 0 && Weights.Sum() <= 0)
        {
            throw new InputException("wavefront.band", "All weights of the band are zero. Leave them out for equal shares.", "weights");
        }

        if (DistancesUm.Length != 0 && DistancesUm.Length != Frames.Count)
        {
            throw new InputException("wavefront.distances", $"{DistancesUm.Length} distances were given for {Frames.Count} images. Give one for each image, " +
                "negative inside focus.", "distances");
        }

        foreach ((double[] given, string name) in new[] { (Times, "times"), (FocuserUm, "focuser") })
        {
            if (given.Length != 0 && given.Length != Frames.Count)
            {
                throw new InputException("wavefront.times", $"{given.Length} values of {name} were given for {Frames.Count} images. Give one for each.", name);
            }
        }

        InputException.RequireRange(LeastNoll, 11, 120, "least_noll", "");
        InputException.RequireRange(MostNoll, LeastNoll, 136, "most_noll", "");
        InputException.RequireRange(JitterArcsec, 0, 60, "jitter", "arcsec");
        InputException.RequireRange(MapSize, 16, 1024, "map_size", "");
        if (HoldSeeing)
        {
            InputException.RequireRange(SeeingArcsec, 0, 60, "seeing", "arcsec");
        }

        Pupil.RequireValid();
    }
}

/// <summary>How well the fixed quantities are known: relative standard uncertainties, for the budget.</summary>
public sealed record KnownTo
{
    /// <summary>Focal ratio times pitch: the image scale.</summary>
    public double Scale { get; init; } = 0.005;

    /// <summary>Mean wavelength.</summary>
    public double Wavelength { get; init; } = 0.005;

    /// <summary>Central obstruction (of the ratio itself).</summary>
    public double Obstruction { get; init; } = 0.01;

    /// <summary>Width of the vanes (of the width itself).</summary>
    public double VaneWidth { get; init; } = 0.1;

    /// <summary>Shares of the light in the band: by how much the end of the band may hold more than the middle.</summary>
    public double Band { get; init; } = 0.1;

    /// <summary>Response of the camera behind the star (flat field, dust, vignetting): difference from one edge of the disc to the other.</summary>
    public double Response { get; init; } = 0.01;

    /// <summary>Linearity of the camera: departure from a straight line at the brightest pixel.</summary>
    public double Linearity { get; init; } = 0.005;

    /// <summary>Blur along one direction beyond that across (guiding, wind, the air's dispersion in the band), RMS, arcsec.</summary>
    public double TrailArcsec { get; init; } = 0.3;

    /// <summary>Place of the central obstruction, radii of the aperture along each axis: a secondary set off axis, or a star away from the axis.</summary>
    public double ShadowPlace { get; init; } = 0.02;

    /// <summary>Speed of the air that carries the seeing, m/s, for the turbulence left in a finite exposure.</summary>
    public double WindMs { get; init; } = 6;

    /// <summary>Temperature of the tube against the air, K; 0 = taken as cooled. Only named in the budget, not computed.</summary>
    public double TubeExcessK { get; init; }
}
