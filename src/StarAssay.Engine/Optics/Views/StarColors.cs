using System.Numerics;
using System.Numerics.Tensors;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics.Views;

/// <summary>A star in its colors, in focus and to either side of it.</summary>
public sealed record StarColorsRequest
{
    /// <summary>The pupil; its optical path is the same in all colors.</summary>
    public required PupilMap Map { get; init; }

    /// <summary>Aperture, mm.</summary>
    public required double ApertureMm { get; init; }

    /// <summary>Wavelengths, rising, nm.</summary>
    public required IReadOnlyList<double> WavelengthsNm { get; init; }

    /// <summary>Best focus at each of them, um, positive away from the objective.</summary>
    public required IReadOnlyList<double> FocusUm { get; init; }

    /// <summary>How far each of them is tried to either side of it, um; empty = not at all.</summary>
    public IReadOnlyList<double> StepUm { get; init; } = [];

    /// <summary>Temperature of the star.</summary>
    public required double Kelvin { get; init; }

    /// <summary>How far the eye goes out of focus to either side, um.</summary>
    public required double DefocusUm { get; init; }

    /// <summary>Radius beyond which light in focus counts as halo, arcsec; 0 = three times that of Airy's first dark ring.</summary>
    public double HaloArcsec { get; init; }

    /// <summary>Seeing of a long exposure at the mean wavelength, FWHM in arcsec; 0 = still air.</summary>
    public double SeeingArcsec { get; init; }
}

/// <summary>Pictures in X, Y, Z, light per square arcsec with the star's Y = 1 (planes, rows along y, columns along x), and the light of each wavelength in
/// parts of them.</summary>
/// <param name="SensorUm">Place of focus: the brightest middle of the star in Y.</param>
/// <param name="MeanWavelengthNm">By Y.</param>
/// <param name="AiryArcsec">Radius of Airy's first dark ring at that wavelength.</param>
/// <param name="HaloArcsec">Radius beyond which light in focus counts as halo.</param>
/// <param name="DiscArcsec">Geometric radius of the disc out of focus of a color without focus error.</param>
/// <param name="LeftOut">Largest share of the star's X, Y or Z beyond the wavelengths.</param>
/// <param name="Matching">Weights of the wavelengths in X, Y, Z; sum of Y is 1.</param>
/// <param name="Position">Coordinate of the samples in focus, arcsec.</param>
/// <param name="Focus">In focus.</param>
/// <param name="PerfectFocus">The same through a perfect telescope of this pupil, all colors in focus.</param>
/// <param name="WidePosition">Coordinate of the samples out of focus.</param>
/// <param name="Inside">Inside of focus.</param>
/// <param name="Outside">Outside of focus.</param>
/// <param name="PerfectOut">Out of focus through the perfect telescope, the same on both sides.</param>
/// <param name="Light">Share of each wavelength's light: rows for the middle and the halo in focus, middle and edge inside, middle and edge outside; for each
/// as it is, with the wavelength's focus a step nearer to the objective, a step farther.</param>
/// <param name="PerfectLight">Rows for middle and halo in focus, middle and edge out of focus.</param>
/// <param name="MiddleBend">How the star's middle answers to each color's focus: second derivative of its brightness, weighed with Y, relative.</param>
public sealed record StarColorsResult(double SensorUm, double MeanWavelengthNm, double AiryArcsec, double HaloArcsec, double DiscArcsec, double LeftOut,
    double[,] Matching, double[] Position, double[,,] Focus, double[,,] PerfectFocus, double[] WidePosition, double[,,] Inside, double[,,] Outside,
    double[,,] PerfectOut, double[,,] Light, double[,] PerfectLight, double[] MiddleBend);

/// <summary>Draws a star in its colors.</summary>
/// <remarks>Each color's image by the transform of `FocusedImages` at its own distance from focus, blurred by a long exposure (Fried 1966) where there is
/// seeing, and weighed with the observer of <see cref="ColorMatching"/>. All of a color's light is known by Parseval's theorem, however far it
/// spreads.</remarks>
public static class StarColors
{
    // Colors whose weight is below this share of the largest may leave the square.
    private const double Faint = 0.01;

    // Light that is followed beyond a disc, and how far a square may reach, in wavelength / D.
    private const double Margin = 10, Reach = 220;

    // Of the samples, in wavelength / D of the shortest wavelength that counts.
    private const double Step = 0.45;

    // Half of the square in focus at least, in radii of what is halo.
    private const double Shown = 1.7;

    /// <summary>Draws it.</summary>
    /// <exception cref="InputException">A number is out of range, or the colors are too far from focus to be drawn.</exception>
    public static StarColorsResult Draw(StarColorsRequest request, RunContext context)
    {
        PupilMap map = request.Map;
        map.RequireValid();
        InputException.RequireRange(request.ApertureMm, 5, 20_000, "aperture", "mm");
        (double[,] weights, double leftOut) = ColorMatching.OfStar(request.WavelengthsNm, request.Kelvin);
        int count = request.WavelengthsNm.Count;
        double[] y = [.. Enumerable.Range(0, count).Select(k => weights[1, k])];
        var light = ViewLight.Of(map, request.WavelengthsNm, y, request.FocusUm);
        if (request.StepUm.Count is not 0 && request.StepUm.Count != count)
        {
            throw new InputException("views.light", $"{count} wavelengths and {request.StepUm.Count} steps were given; give one of each.", "colors");
        }

        double sensor = light.BestFocus(map), mean = light.Mean(nm => nm);
        double Unit(double nm) => nm * 1e-6 / request.ApertureMm * Seeing.ArcsecPerRadian;
        double airy = FocusedImages.FirstDarkRing * Unit(mean), halo = request.HaloArcsec > 0 ? request.HaloArcsec : 3 * airy;
        double Disc(double um) => Math.Abs(um) * 1e-3 / (2 * map.FocalRatio * map.FocalRatio * request.ApertureMm) * Seeing.ArcsecPerRadian;
        double disc = Disc(request.DefocusUm);
        InputException.RequireRange(disc / Unit(mean), 4, 64, "defocus", "wavelength / D");
        InputException.RequireRange(request.SeeingArcsec, 0, 0.4 * disc, "seeing", "arcsec");
        InputException.RequireRange(halo, airy, 30 * airy, "halo_radius", "arcsec");

        double[] all = [.. Enumerable.Range(0, count).Select(k => weights[0, k] + weights[1, k] + weights[2, k])];
        int[] seen = [.. Enumerable.Range(0, count).Where(k => all[k] >= Faint * all.Max())];
        double fine = Step * Unit(request.WavelengthsNm[seen[0]]);
        double Farthest(double at) => seen.Max(k => Disc(at - request.FocusUm[k]));
        double air = 2 * request.SeeingArcsec;
        double near = Math.Max(Shown * halo, 1.25 * Farthest(sensor)) + air;
        double wide = 1.1 * Math.Max(Farthest(sensor - request.DefocusUm), Farthest(sensor + request.DefocusUm)) + (6 * Unit(mean)) + air;
        InputException.RequireRange(Math.Max(near, wide) / Unit(mean), 0, Reach, "colors", "wavelength / D from focus");

        // A star in focus is a few samples wide: drawn more finely, since it is looked at closely.
        var focus = new Place(new SkyImage(2 * near, 0.45 * fine), near, airy, halo, true);
        var away = new Place(new SkyImage(2 * wide, fine), wide, 0.5 * disc, disc, false);
        PupilMap perfect = map.Perfect();
        Drawn Own(Place place, double at) => Draw(place, request, map, weights, k => at - request.FocusUm[k], request.StepUm, mean, context);
        Drawn Perfect(Place place, double shift) => Draw(place, request, perfect, weights, _ => shift, [], mean, context);
        Drawn[] own = [Own(focus, sensor), Own(away, sensor - request.DefocusUm), Own(away, sensor + request.DefocusUm)];
        Drawn[] other = [Perfect(focus, 0), Perfect(away, request.DefocusUm)];
        double[,,] parts = new double[6, 3, count];
        double[,] perfectParts = new double[4, count];
        for (int k = 0; k < count; k++)
        {
            for (int row = 0; row < 6; row++)
            {
                for (int step = 0; step < 3; step++)
                {
                    parts[row, step, k] = own[row / 2].Light[row % 2, step, k];
                }
            }

            for (int row = 0; row < 4; row++)
            {
                perfectParts[row, k] = other[row / 2].Light[row % 2, 0, k];
            }
        }

        return new StarColorsResult(sensor, mean, airy, halo, disc, leftOut, weights, own[0].Position, own[0].Planes, other[0].Planes, own[1].Position,
            own[1].Planes, own[2].Planes, other[1].Planes, parts, perfectParts,
            [.. Enumerable.Range(0, count).Select(k => y[k] * Bend(map with { WavelengthNm = request.WavelengthsNm[k] }, sensor - request.FocusUm[k]))]);
    }

    private static Drawn Draw(Place place, StarColorsRequest request, PupilMap map, double[,] weights, Func<int, double> shift, IReadOnlyList<double> steps,
        double meanNm, RunContext context)
    {
        int count = request.WavelengthsNm.Count, size = place.Square.Size;
        double[][] images = new double[count][];
        double[,,] light = new double[2, 3, count];
        Sharing.For(count, context, k =>
        {
            double nm = request.WavelengthsNm[k], unit = nm * 1e-6 / request.ApertureMm * Seeing.ArcsecPerRadian;
            double step = steps.Count > 0 ? steps[k] : 0;
            double far = Math.Abs(shift(k)) + step;
            PupilMap color = (map with { WavelengthNm = nm }).FineEnoughFor(far, Margin);
            var transform = new CenteredTransform(color.Size, size - 1, ((size / 2) - 1) * place.Square.Step / unit);

            // A focus nearer to the objective leaves the screen farther away from it.
            double[] shifts = step > 0 ? [shift(k), shift(k) + step, shift(k) - step] : [shift(k)];
            double[][] drawn = [.. shifts.Select(s => Image(color, transform, s, unit, size, place.Focused))];
            if (request.SeeingArcsec > 0)
            {
                double fwhm = Seeing.ScaleFwhm(request.SeeingArcsec, meanNm, nm);
                double[] air = place.Square.Air(Seeing.R0FromFwhm(fwhm, nm), nm);
                place.Square.Blur(drawn[0], drawn.Length > 1 ? drawn[1] : new double[air.Length], air);
                if (drawn.Length > 1)
                {
                    place.Square.Blur(drawn[2], new double[air.Length], air);
                }
            }

            images[k] = drawn[0];
            for (int i = 0; i < 3; i++)
            {
                // Where no step was asked for, one image serves for all.
                (light[0, i, k], light[1, i, k]) = place.Light(drawn[Math.Min(i, drawn.Length - 1)]);
            }
        });

        double[] plane = new double[size * size];
        double[,,]? planes = null;
        double[] position = [];
        for (int c = 0; c < 3; c++)
        {
            Array.Clear(plane);
            for (int k = 0; k < count; k++)
            {
                for (int i = 0; i < plane.Length; i++)
                {
                    plane[i] += weights[c, k] * images[k][i];
                }
            }

            (double[,] shown, position) = place.Square.Middle(plane, place.HalfArcsec);
            planes ??= new double[3, position.Length, position.Length];
            foreach ((int row, int column) in FocusedImages.Grid(position.Length))
            {
                planes[c, row, column] = shown[row, column];
            }
        }

        return new Drawn(planes!, position, light);
    }

    // Per square arcsec, all of the light 1: the sum over a period of the transform is n^2 times that of the field's squares. A sample of the rim that is
    // open by half lets through half of the light: in focus, where its amplitude adds to the others', that is the truth; far from focus its own light arrives,
    // the square of a half, and what is missing must not count as halo.
    private static double[] Image(PupilMap map, CenteredTransform transform, double shiftUm, double unit, int size, bool focused)
    {
        int n = map.Size, inner = size - 1;
        Complex[,] field = map.Field(shiftUm);
        double whole = 0;
        foreach ((int y, int x) in FocusedImages.Grid(n))
        {
            double share = map.AmplitudeAt(y, x);
            whole += focused ? share : share * share;
        }

        double[] light = transform.Light(field, new ParallelOptions { MaxDegreeOfParallelism = 1 }), image = new double[size * size];
        double scale = 1 / ((double)n * n * whole * unit * unit);
        for (int j = 0; j < inner; j++)
        {
            for (int i = 0; i < inner; i++)
            {
                image[((j + 1) * size) + i + 1] = scale * light[(j * inner) + i];
            }
        }

        return image;
    }

    // Of the light in the middle, by the way to a quarter wave at the rim; relative to other colors as light per square arcsec is.
    private static double Bend(PupilMap map, double shiftUm)
    {
        double h = map.FocalRatio * map.FocalRatio * map.WavelengthNm * 1e-3;
        double Middle(double at)
        {
            Complex sum = Complex.Zero;
            foreach (Complex value in map.Field(at))
            {
                sum += value;
            }

            return ((sum.Real * sum.Real) + (sum.Imaginary * sum.Imaginary)) / (map.WavelengthNm * map.WavelengthNm);
        }

        return (Middle(shiftUm - h) - (2 * Middle(shiftUm)) + Middle(shiftUm + h)) / (h * h);
    }

    private sealed record Drawn(double[,,] Planes, double[] Position, double[,,] Light);

    /// <summary>A square of the sky with the two radii that its light is told by, arcsec.</summary>
    private sealed class Place
    {
        private readonly double[] middle;
        private readonly double[] halo;

        public Place(SkyImage square, double halfArcsec, double middle, double halo, bool focused)
        {
            (Square, HalfArcsec, Focused) = (square, halfArcsec, focused);
            (this.middle, this.halo) = (Within(middle), Within(halo));
        }

        public SkyImage Square { get; }

        public double HalfArcsec { get; }

        public bool Focused { get; }

        /// <summary>Light in the middle, and beyond the halo's radius.</summary>
        public (double Middle, double Halo) Light(double[] image) =>
            (TensorPrimitives.Dot<double>(image, middle), 1 - TensorPrimitives.Dot<double>(image, halo));

        // Area of each sample inside a circle; one that the circle cuts counts as a square cut straight.
        private double[] Within(double radius)
        {
            double[] area = new double[Square.Size * Square.Size];
            foreach ((int j, int i) in FocusedImages.Grid(Square.Size))
            {
                double u = Square.Place(i), v = Square.Place(j), open = ((radius - Math.Sqrt((u * u) + (v * v))) / Square.Step) + 0.5;
                area[(j * Square.Size) + i] = Math.Clamp(open, 0, 1) * Square.Step * Square.Step;
            }

            return area;
        }
    }
}
