using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics.Views;

/// <summary>A star as far inside of focus as outside, as somebody at the eyepiece looks at it.</summary>
public sealed record StarTestRequest
{
    /// <summary>The pupil and the one wavelength of the light.</summary>
    public required PupilMap Map { get; init; }

    /// <summary>Aperture, mm.</summary>
    public required double ApertureMm { get; init; }

    /// <summary>Defocus W020 to either side, waves.</summary>
    public double DefocusWaves { get; init; } = 5;

    /// <summary>Seeing of a long exposure at that wavelength, FWHM in arcsec; 0 = still air.</summary>
    public double SeeingArcsec { get; init; }
}

/// <summary>Both patterns beside the perfect one. Lengths are shares of the disc's geometric radius, light 1 = the same light spread evenly over the
/// disc.</summary>
/// <param name="ShiftUm">How far the screen stands from focus on either side.</param>
/// <param name="DiscArcsec">Geometric radius of the disc.</param>
/// <param name="Position">Coordinate of the samples along either axis.</param>
/// <param name="Inside">Pattern inside of focus, row y, column x.</param>
/// <param name="Outside">Pattern outside.</param>
/// <param name="Perfect">Pattern of a perfect telescope of the same pupil, the same on both sides.</param>
/// <param name="Radius">Of the profiles.</param>
/// <param name="Profiles">Mean over directions: a row each for inside, outside, perfect.</param>
/// <param name="RingRadius">Brightest radius of each ring of the perfect pattern, from the middle outwards.</param>
/// <param name="RingInner">Dark ring inside each of them; 0 in the middle.</param>
/// <param name="RingOuter">Dark ring outside it; where the glow round the disc ends for the outermost.</param>
/// <param name="RingLight">Mean light between the dark rings to either side of it: a row each for inside, outside, perfect.</param>
/// <param name="RingContrast">(bright - dark) / (bright + dark) of each ring.</param>
public sealed record StarTestResult(double ShiftUm, double DiscArcsec, double[] Position, double[,] Inside, double[,] Outside,
    double[,] Perfect, double[] Radius, double[,] Profiles, double[] RingRadius, double[] RingInner, double[] RingOuter,
    double[,] RingLight, double[,] RingContrast);

/// <summary>How the rings of a perfect telescope answer to round errors.</summary>
/// <param name="Obstruction">Ratio of the diameters.</param>
/// <param name="DefocusWaves">To either side, waves.</param>
/// <param name="SeeingOfDisc">FWHM of the seeing, in radii of the disc.</param>
/// <param name="Noll">Errors without direction, by their Noll number.</param>
/// <param name="ErrorWaves">RMS of each, waves.</param>
/// <param name="RingInner">Dark ring inside each ring, as in <see cref="StarTestResult"/>.</param>
/// <param name="RingOuter">Dark ring outside it.</param>
public sealed record RoundRingsRequest(double Obstruction, double DefocusWaves, double SeeingOfDisc, IReadOnlyList<int> Noll, double ErrorWaves,
    IReadOnlyList<double> RingInner, IReadOnlyList<double> RingOuter);

/// <summary>Rings as in <see cref="StarTestResult"/>.</summary>
/// <param name="RingLight">Two rows for each error: inside of focus, outside.</param>
/// <param name="RingContrast">Likewise.</param>
public sealed record RingsWithErrors(double[,] RingLight, double[,] RingContrast);

/// <summary>Draws a star test.</summary>
/// <remarks>The image by the matrix transform of `FocusedImages`, blurred by the long exposure (Fried 1966) where there is seeing. A perfect clear
/// pupil has 4 sin^2(pi W) in the middle, an annular one 4 sin^2(pi W (1 - e^2)).</remarks>
public static class StarTests
{
    // Half the width of the square in radii of the disc, and of what is shown of it.
    private const double Half = 1.9, Shown = 1.35, RadiusStep = 0.004;
    private const int Angles = 120;

    // Samples across the pupil for each wave of defocus, so that a rim of one sample spoils no ring.
    private const double RimSamples = 64;

    // Contrast from which a ring counts, and light of the faintest.
    private const double Ripple = 0.05, Faint = 0.25;

    /// <summary>Draws it.</summary>
    /// <exception cref="InputException">A number is out of range.</exception>
    public static StarTestResult Draw(StarTestRequest request, RunContext context)
    {
        PupilMap map = request.Map;
        map.RequireValid();
        InputException.RequireRange(request.ApertureMm, 5, 20_000, "aperture", "mm");
        InputException.RequireRange(request.DefocusWaves, 1, 16, "defocus", "waves");
        double unit = map.WavelengthNm * 1e-6 / request.ApertureMm * Seeing.ArcsecPerRadian, disc = 4 * request.DefocusWaves * unit;
        InputException.RequireRange(request.SeeingArcsec, 0, 0.4 * disc, "seeing", "arcsec");
        double shift = 8 * map.FocalRatio * map.FocalRatio * request.DefocusWaves * map.WavelengthNm * 1e-3;
        var square = new SkyImage(2 * Half * disc, 0.45 * unit);
        PupilMap sharp = map.WithSharpRim(Math.Max(1, (int)Math.Ceiling(RimSamples * request.DefocusWaves / map.Size)));
        double[][] images =
        [
            Image(square, sharp, -shift, unit, disc, context),
            Image(square, sharp, shift, unit, disc, context),
            Image(square, sharp.Perfect(), shift, unit, disc, context),
        ];
        if (request.SeeingArcsec > 0)
        {
            double[] air = square.Air(Seeing.R0FromFwhm(request.SeeingArcsec, map.WavelengthNm), map.WavelengthNm);
            square.Blur(images[0], images[1], air);
            square.Blur(images[2], new double[air.Length], air);
        }

        double[] radius = ProfileRadii();
        double[][] profiles = [.. images.Select(i => Profile(square, i, radius, disc))];
        (double From, double Top, double To)[] rings = Rings(radius, profiles[2]);
        (double[,] inside, double[] position) = square.Middle(images[0], Shown * disc);
        return new StarTestResult(shift, disc, [.. position.Select(p => p / disc)], inside, square.Middle(images[1], Shown * disc).Picture,
            square.Middle(images[2], Shown * disc).Picture, radius, Table(profiles), [.. rings.Select(r => r.Top)],
            [.. rings.Select(r => r.From)], [.. rings.Select(r => r.To)],
            Table([.. profiles.Select(p => rings.Select(r => Light(radius, p, r)).ToArray())]),
            Table([.. profiles.Select(p => rings.Select((r, k) => Contrast(radius, p, r, k == rings.Length - 1)).ToArray())]));
    }

    /// <summary>Light and contrast of each ring on both sides for a perfect round pupil with a little of each of some round errors.</summary>
    /// <exception cref="InputException">A number is out of range.</exception>
    public static RingsWithErrors Round(RoundRingsRequest request)
    {
        InputException.RequireRange(request.Obstruction, 0, 0.95, "obstruction", "");
        InputException.RequireRange(request.DefocusWaves, 1, 16, "defocus", "waves");
        InputException.RequireRange(request.SeeingOfDisc, 0, 0.4, "seeing", "radii of the disc");
        double[] radius = ProfileRadii();
        var pupil = new RoundStarTest(request.Obstruction, request.DefocusWaves, request.SeeingOfDisc, radius);
        if (request.RingInner.Count != request.RingOuter.Count || request.RingInner.Count == 0)
        {
            throw new InputException("views.rings", $"{request.RingInner.Count} inner and {request.RingOuter.Count} outer dark rings were given; give both of "
                + "each ring.", "ring_inner");
        }

        (double From, double Top, double To)[] rings = [.. request.RingInner.Zip(request.RingOuter).Select(r => (r.First, double.NaN, r.Second))];
        double[][] profiles = [.. request.Noll.SelectMany(noll =>
        {
            var mode = ZernikeIndex.FromNoll(noll);
            return pupil.Profiles(rho => request.ErrorWaves * Zernike.Evaluate(mode, rho, 0));
        })];
        return new RingsWithErrors(
            Table([.. profiles.Select(p => rings.Select(r => Light(radius, p, r)).ToArray())]),
            Table([.. profiles.Select(p => rings.Select((r, k) => Contrast(radius, p, r, k == rings.Length - 1)).ToArray())]));
    }

    private static double[] ProfileRadii() => [.. Enumerable.Range(0, (int)(Shown / RadiusStep) + 1).Select(k => k * RadiusStep)];

    // Light 1 = even over the open part of the disc.
    private static double[] Image(SkyImage square, PupilMap map, double shiftUm, double unit, double disc, RunContext context)
    {
        int size = square.Size, inner = size - 1;
        double[,] drawn = FocusedImages.Draw(new FocusedImageRequest(map, ((size / 2) - 1) * square.Step / unit, inner, shiftUm), context).Intensity;

        // Middle of the perfect image: light x open area / wavelength^2.
        double open = FocusedImages.Grid(map.Size).Sum(s => map.AmplitudeAt(s.Y, s.X)) * 4 / (Math.PI * map.Size * map.Size);
        double scale = Math.PI / 4 * open / (unit * unit) * (Math.PI * disc * disc * open);
        double[] image = new double[size * size];
        for (int j = 0; j < inner; j++)
        {
            for (int i = 0; i < inner; i++)
            {
                image[((j + 1) * size) + i + 1] = scale * drawn[j, i];
            }
        }

        return image;
    }

    private static double[] Profile(SkyImage square, double[] image, double[] radius, double disc) => [.. radius.Select(r =>
        Enumerable.Range(0, Angles).Average(a =>
        {
            (double s, double c) = Math.SinCos(2 * Math.PI * (a + 0.5) / Angles);
            return square.Between(image, r * disc * c, r * disc * s);
        }))];

    // From dark ring to dark ring; the last one ends where the disc's glow does.
    private static (double From, double Top, double To)[] Rings(double[] radius, double[] light)
    {
        const double Rim = 1.15;
        var dark = new List<int>();
        for (int k = 1; k < radius.Length - 1 && radius[k] < Rim; k++)
        {
            if (light[k] < light[k - 1] && light[k] <= light[k + 1])
            {
                dark.Add(k);
            }
        }

        // A ripple that hardly stands out, or one beyond the rim or in the shadow that is faint, is no ring: the dark ring that stands out least goes first.
        int end = Enumerable.Range(0, radius.Length).Last(k => radius[k] <= Rim);
        int Top(int from, int to) => Enumerable.Range(from, to - from + 1).MaxBy(k => light[k]);
        double Depth(int d)
        {
            double lower = Math.Min(light[Top(d == 0 ? 0 : dark[d - 1], dark[d])], light[Top(dark[d], d == dark.Count - 1 ? end : dark[d + 1])]);
            return lower < Faint ? 0 : (lower - light[dark[d]]) / (lower + light[dark[d]]);
        }

        while (dark.Count > 0)
        {
            int least = Enumerable.Range(0, dark.Count).MinBy(Depth);
            if (Depth(least) >= Ripple)
            {
                break;
            }

            dark.RemoveAt(least);
        }

        int[] bounds = [0, .. dark, end];
        return [.. bounds.Zip(bounds.Skip(1)).Select(b => (radius[b.First], radius[Top(b.First, b.Second)], radius[b.Second]))];
    }

    private static double Light(double[] radius, double[] light, (double From, double Top, double To) ring)
    {
        double sum = 0, area = 0;
        for (int k = 0; k < radius.Length; k++)
        {
            if (radius[k] >= ring.From && radius[k] <= ring.To)
            {
                (sum, area) = (sum + (light[k] * radius[k]), area + radius[k]);
            }
        }

        return sum / area;
    }

    // Brightest within the ring against the darkest near the dark rings to either side: inside alone for the outermost, outside alone for the middle.
    private static double Contrast(double[] radius, double[] light, (double From, double Top, double To) ring, bool outermost)
    {
        double reach = 0.25 * (ring.To - ring.From);
        double Lowest(double at) => radius.Zip(light).Where(p => Math.Abs(p.First - at) <= reach).Min(p => p.Second);
        double bright = radius.Zip(light).Where(p => p.First >= ring.From && p.First <= ring.To).Max(p => p.Second);
        double dark = ring.From == 0 ? Lowest(ring.To) : outermost ? Lowest(ring.From) : 0.5 * (Lowest(ring.From) + Lowest(ring.To));
        return (bright - dark) / (bright + dark);
    }

    private static double[,] Table(double[][] rows)
    {
        double[,] table = new double[rows.Length, rows[0].Length];
        for (int j = 0; j < rows.Length; j++)
        {
            for (int i = 0; i < rows[j].Length; i++)
            {
                table[j, i] = rows[j][i];
            }
        }

        return table;
    }
}
