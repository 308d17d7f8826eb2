using System.Numerics;
using MathNet.Numerics.RootFinding;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics.Views;

/// <summary>Two stars.</summary>
/// <param name="SeparationArcsec">From one to the other.</param>
/// <param name="FainterByMag">How much fainter the second is.</param>
/// <param name="AngleDeg">Direction from the brighter to the fainter one, from +x towards +y.</param>
public sealed record DoubleStar(double SeparationArcsec, double FainterByMag, double AngleDeg);

/// <summary>A band across a planet's disc, straight as one sees it from above the equator.</summary>
/// <param name="Middle">Height above the middle of the disc, as a share of the polar radius.</param>
/// <param name="Width">From edge to edge, as a share of it.</param>
/// <param name="Brightness">Beside it 1.</param>
public sealed record Belt(double Middle, double Width, double Brightness);

/// <summary>A planet as it is drawn.</summary>
/// <param name="DiameterArcsec">Equatorial.</param>
/// <param name="Flattening">1 - polar over equatorial diameter.</param>
/// <param name="LimbDarkening">Minnaert's exponent k: brightness goes with mu^(2 k - 1) at full phase, mu the cosine of the slope; 0.5 = none,
/// 1 = Lambert.</param>
/// <param name="Belts">From north to south.</param>
/// <param name="SpotArcsec">Diameter of a round black spot in the middle of the disc, as a moon's shadow makes it; 0 = none.</param>
/// <param name="AngleDeg">Direction of the belts, from +x towards +y.</param>
public sealed record PlanetDisc(double DiameterArcsec, double Flattening, double LimbDarkening, IReadOnlyList<Belt> Belts, double SpotArcsec, double AngleDeg);

/// <summary>What is looked at, with what light and through what air.</summary>
public sealed record TargetViewsRequest
{
    /// <summary>The pupil; its wavelength counts where no others are given.</summary>
    public required PupilMap Map { get; init; }

    /// <summary>Aperture, mm.</summary>
    public required double ApertureMm { get; init; }

    /// <summary>Seeing of long exposures at the mean wavelength, FWHM in arcsec; 0 = still air. Everything is drawn once for each.</summary>
    public IReadOnlyList<double> SeeingArcsec { get; init; } = [0];

    /// <summary>Wavelengths that the light consists of, nm; empty = that of the map.</summary>
    public IReadOnlyList<double> WavelengthsNm { get; init; } = [];

    /// <summary>Their shares.</summary>
    public IReadOnlyList<double> Weights { get; init; } = [];

    /// <summary>Best focus at each of them, um, positive away from the objective.</summary>
    public IReadOnlyList<double> FocusUm { get; init; } = [];

    /// <summary>Two stars, or none.</summary>
    public DoubleStar? DoubleStar { get; init; }

    /// <summary>A planet, or none.</summary>
    public PlanetDisc? Planet { get; init; }

    /// <summary>Direction from the bright to the dark side of a straight edge, degrees from +x towards +y; NaN = no edge.</summary>
    public double EdgeAngleDeg { get; init; } = double.NaN;
}

/// <summary>Pictures and numbers through three telescopes: this one, a perfect one of the same pupil, a perfect clear one of the same diameter.</summary>
/// <param name="PositionArcsec">Coordinate of the samples along either axis.</param>
/// <param name="Own">Through this telescope, row y, column x.</param>
/// <param name="Obstructed">Through the perfect one with the same obstruction.</param>
/// <param name="Clear">Through the perfect clear one.</param>
/// <param name="AlongArcsec">Place along the line of the profiles.</param>
/// <param name="Profiles">A row each: this, obstructed, clear.</param>
/// <param name="Names">What the numbers are.</param>
/// <param name="Numbers">A row each: this, obstructed, clear.</param>
public sealed record TargetView(double[] PositionArcsec, double[,] Own, double[,] Obstructed, double[,] Clear, double[] AlongArcsec, double[,] Profiles,
    string[] Names, double[,] Numbers);

/// <summary>The views that were asked for.</summary>
/// <param name="MeanWavelengthNm">By the light.</param>
/// <param name="SensorUm">Where the screen stood: the brightest middle of a star.</param>
/// <param name="CenterRatio">Light in the middle of a star over that of the perfect aperture of the same pupil, both in still air: the Strehl ratio of this
/// light.</param>
/// <param name="Views">One for each seeing.</param>
public sealed record TargetViewsResult(double MeanWavelengthNm, double SensorUm, double CenterRatio, TargetsInOneAir[] Views);

/// <summary>What was asked for, through one air.</summary>
/// <param name="DoubleStar">Two stars; 1 = top of the brighter one alone through the clear aperture in the same air.</param>
/// <param name="Planet">A planet; 1 = middle of its disc without belts.</param>
/// <param name="Edge">A straight edge; 1 = far on the bright side.</param>
public sealed record TargetsInOneAir(TargetView? DoubleStar, TargetView? Planet, TargetView? Edge);

/// <summary>Draws real targets through a telescope, beside perfect ones.</summary>
public static class TargetViews
{
    private const int Along = 401, EdgeSamples = 1536;

    // Room round a target, in wavelength / D and in widths of the seeing, so that what goes out of the square is little.
    private const double Room = 24, RoomSeeing = 4;

    /// <summary>Draws them.</summary>
    /// <exception cref="InputException">A number is out of range.</exception>
    public static TargetViewsResult Draw(TargetViewsRequest request, RunContext context)
    {
        request.Map.RequireValid();
        InputException.RequireRange(request.ApertureMm, 5, 20_000, "aperture", "mm");
        foreach (double seeing in request.SeeingArcsec)
        {
            InputException.RequireRange(seeing, 0, 20, "seeing", "arcsec");
        }

        ViewLight light = ViewLight.Of(request.Map, request.WavelengthsNm, request.Weights, request.FocusUm);
        double sensor = light.BestFocus(request.Map), mean = light.Mean(nm => nm);
        double unit = mean * 1e-6 / request.ApertureMm * Seeing.ArcsecPerRadian;
        SkyTransfer[] still =
        [
            SkyTransfer.Own(request.Map, light, sensor, request.ApertureMm, context.Cancel),
            SkyTransfer.Perfect(request.Map, light, request.ApertureMm),
            SkyTransfer.Clear(light, request.ApertureMm),
        ];
        double[] middle = [.. still.Take(2).Select(t => new StarImage(t, 0, context.Parallel).At(0, 0))];
        return new TargetViewsResult(mean, sensor, middle[0] / middle[1], [.. request.SeeingArcsec.Select(seeing =>
        {
            var drawing = new Drawing([.. still.Select(t => t.Through(seeing))], unit, seeing, context);
            return new TargetsInOneAir(request.DoubleStar is { } stars ? drawing.Draw(stars) : null,
                request.Planet is { } planet ? drawing.Draw(planet) : null,
                double.IsNaN(request.EdgeAngleDeg) ? null : drawing.DrawEdge(request.EdgeAngleDeg));
        })]);
    }

    /// <summary>A straight edge: light at a place across it, 1 far on the bright side, which is that of smaller places.</summary>
    private sealed class Edge
    {
        private readonly double step;
        private readonly Complex[] values;

        public Edge(SkyTransfer telescope, double angleDeg)
        {
            (double s, double c) = Math.SinCos(angleDeg * Math.PI / 180);
            step = telescope.Cutoff / EdgeSamples;
            values = [.. Enumerable.Range(0, EdgeSamples).Select(k => telescope.At((k + 0.5) * step * c, (k + 0.5) * step * s))];
        }

        public double At(double place)
        {
            double sum = 0;
            for (int k = 0; k < values.Length; k++)
            {
                (double s, double c) = Math.SinCos(2 * Math.PI * (k + 0.5) * step * place);
                sum += ((values[k].Real * s) + (values[k].Imaginary * c)) / (k + 0.5);
            }

            return 0.5 - (sum / Math.PI);
        }

        public double Place(double level, double reach) => Brent.FindRoot(x => At(x) - level, -reach, reach, 1e-9, 200);
    }

    private sealed class Drawing(SkyTransfer[] telescopes, double unit, double seeing, RunContext context)
    {
        private double Margin => (Room * unit) + (RoomSeeing * seeing);

        public TargetView Draw(DoubleStar stars)
        {
            double apart = stars.SeparationArcsec;
            InputException.RequireRange(apart, 0.05 * unit, 40 * unit, "separation", "arcsec");
            InputException.RequireRange(stars.FainterByMag, 0, 12, "magnitudes", "mag");
            double second = Math.Pow(10, -0.4 * stars.FainterByMag);
            (double s, double c) = Math.SinCos(stars.AngleDeg * Math.PI / 180);
            double half = (0.5 * apart) + (4 * unit) + (1.2 * seeing);
            var square = new SkyImage((2 * Margin) + apart, Math.Min(0.2 * unit, 0.4 / telescopes[0].Cutoff));
            (double[], double[]) spectrum = square.Points([(-0.5 * apart * c, -0.5 * apart * s, 1), (0.5 * apart * c, 0.5 * apart * s, second)]);
            StarImage[] images = [.. telescopes.Select(t => new StarImage(t, stars.AngleDeg, context.Parallel))];
            (double X, double Y)[] tops = [.. images.Select(i => i.Top(0.05 * unit))];
            double top = images[^1].At(tops[^1].X, tops[^1].Y);
            double[] along = Spaced(half);
            double[,] profiles = new double[3, Along], numbers = new double[4, 3];
            for (int t = 0; t < 3; t++)
            {
                Func<double, double> one = images[t].Across(tops[t].Y);
                double x0 = tops[t].X, alone = one(x0), from = x0 - (0.5 * apart), to = x0 + (0.5 * apart);
                double Light(double x) => (one(x + (0.5 * apart)) + (second * one(x - (0.5 * apart)))) / top;
                Fill(profiles, t, along, Light);
                double brighter = Top(Light, from, 0.5 * apart), fainter = Top(Light, to, 0.5 * apart);
                bool two = fainter - brighter > 0.3 * apart;

                // Depth of the saddle below the fainter star's top; 0 where there are not two tops.
                numbers[0, t] = two ? 1 - (Light(LowestBetween(Light, brighter, fainter)) / Light(fainter)) : 0;
                numbers[1, t] = alone / top;
                numbers[2, t] = one(x0 + apart) / (second * alone);
                numbers[3, t] = two ? fainter - brighter : double.NaN;
            }

            return View(square, spectrum, half, top, along, profiles,
                ["dip", "star_top", "brighter_at_fainter", "tops_apart"], numbers);
        }

        public TargetView Draw(PlanetDisc planet)
        {
            InputException.RequireRange(planet.DiameterArcsec, unit, 400, "diameter", "arcsec");
            InputException.RequireRange(planet.Flattening, 0, 0.5, "flattening", "");
            InputException.RequireRange(planet.LimbDarkening, 0.5, 1.5, "limb_darkening", "");
            InputException.RequireRange(planet.SpotArcsec, 0, 0.5 * planet.DiameterArcsec, "spot", "arcsec");
            foreach (Belt belt in planet.Belts)
            {
                InputException.RequireRange(belt.Middle, -0.95, 0.95, "belts", "of the radius");
                InputException.RequireRange(belt.Width, 1e-3, 1, "belts", "of the radius");
                InputException.RequireRange(belt.Brightness, 0, 10, "belts", "");
            }

            double half = (0.5 * planet.DiameterArcsec) + (3 * unit) + seeing, step = Math.Min(0.2 * unit, 0.45 / telescopes[0].Cutoff);
            double width = planet.DiameterArcsec + (2 * Math.Min(Margin, Math.Max(8 * unit, 0.5 * planet.DiameterArcsec)));
            var square = new SkyImage(width, step);
            if (square.Step > 0.5 / telescopes[0].Cutoff)
            {
                throw new InputException("views.too-large",
                    $"A disc of {planet.DiameterArcsec:F0} arcsec holds more detail of this aperture than a picture can. Choose one below "
                    + $"{SkyImage.Largest * 0.2 / telescopes[0].Cutoff:F0} arcsec.", "diameter");
            }

            var shape = new PlanetShape(planet);
            (double[], double[]) spectrum = square.Spectrum(shape.Samples(square, context), PlanetShape.Points);
            double[] along = Spaced(half);
            double[][] images = [.. telescopes.Select(t => square.Through(spectrum, t, context.Parallel))];
            double[,] profiles = new double[3, Along], numbers = new double[planet.Belts.Count + 1, 3];
            for (int t = 0; t < 3; t++)
            {
                double Light(double x, double y) => square.Between(images[t], (x * shape.Cos) - (y * shape.Sin), (x * shape.Sin) + (y * shape.Cos));
                Fill(profiles, t, along, y => Light(0.15 * planet.DiameterArcsec, y));
                for (int b = 0; b < planet.Belts.Count; b++)
                {
                    numbers[b, t] = shape.BeltContrast(planet.Belts[b], Light) / shape.BeltContrast(planet.Belts[b], shape.At);
                }

                numbers[planet.Belts.Count, t] = planet.SpotArcsec > 0 ? shape.SpotContrast(Light) / shape.SpotContrast(shape.At) : double.NaN;
            }

            string[] names = [.. planet.Belts.Select((_, b) => $"belt_{b + 1}"), "spot"];
            return Cropped(square, images, half, 1, along, profiles, names, numbers);
        }

        public TargetView DrawEdge(double angleDeg)
        {
            InputException.RequireRange(angleDeg, -360, 360, "angle", "deg");
            double reach = 30 * (unit + seeing), half = (6 * unit) + (2 * seeing);
            Edge[] edges = [.. telescopes.Select(t => new Edge(t, angleDeg))];
            double[] along = Spaced(half), outside = [2, 5, 10];
            double[,] profiles = new double[3, Along], numbers = new double[2 + outside.Length, 3];
            double[] middle = new double[3];
            for (int t = 0; t < 3; t++)
            {
                Edge edge = edges[t];
                Fill(profiles, t, along, edge.At);
                middle[t] = edge.Place(0.5, reach);
                numbers[0, t] = edge.Place(0.1, reach) - edge.Place(0.9, reach);
                numbers[1, t] = edge.Place(0.05, reach) - edge.Place(0.95, reach);
                for (int k = 0; k < outside.Length; k++)
                {
                    numbers[2 + k, t] = edge.At(middle[t] + outside[k]);
                }
            }

            int n = 161;
            double[] position = [.. Enumerable.Range(0, n).Select(k => half * ((2.0 * k / (n - 1)) - 1))];
            (double s, double c) = Math.SinCos(angleDeg * Math.PI / 180);
            double[,] Picture(int t)
            {
                // Straight lines between points a hundredth of the picture apart or less.
                double[] place = [.. Enumerable.Range(0, 601).Select(k => 1.5 * half * ((k / 300.0) - 1))], light = [.. place.Select(edges[t].At)];
                double[,] picture = new double[n, n];
                for (int j = 0; j < n; j++)
                {
                    for (int i = 0; i < n; i++)
                    {
                        picture[j, i] = Numerics.LinearTable.At(place, light, (position[i] * c) + (position[j] * s));
                    }
                }

                return picture;
            }

            return new TargetView(position, Picture(0), Picture(1), Picture(2), along, profiles,
                ["width_10_90", "width_5_95", .. outside.Select(a => $"light_{a:F0}_arcsec_outside")], numbers);
        }

        private TargetView View(SkyImage square, (double[], double[]) spectrum, double half, double top, double[] along, double[,] profiles, string[] names,
            double[,] numbers) => Cropped(square, [.. telescopes.Select(t => square.Through(spectrum, t, context.Parallel))], half, top, along, profiles,
                names, numbers);

        private static TargetView Cropped(SkyImage square, double[][] images, double half, double top, double[] along, double[,] profiles, string[] names,
            double[,] numbers)
        {
            double[][] scaled = [.. images.Select(i => i.Select(v => v / top).ToArray())];
            (double[,] own, double[] position) = square.Middle(scaled[0], half);
            return new TargetView(position, own, square.Middle(scaled[1], half).Picture, square.Middle(scaled[2], half).Picture, along, profiles, names,
                numbers);
        }

        private static double[] Spaced(double half) => [.. Enumerable.Range(0, Along).Select(k => half * ((2.0 * k / (Along - 1)) - 1))];

        private static void Fill(double[,] into, int row, double[] along, Func<double, double> light)
        {
            for (int k = 0; k < along.Length; k++)
            {
                into[row, k] = light(along[k]);
            }
        }

        // The top that one comes to from a place uphill, on the parabola through the best point and its neighbors; NaN where that leads out of reach,
        // as from a star that is a shoulder of its neighbor.
        private static double Top(Func<double, double> light, double from, double reach)
        {
            const int Steps = 60;
            double step = reach / Steps;
            double[] value = [.. Enumerable.Range(-Steps, (2 * Steps) + 1).Select(k => light(from + (k * step)))];
            int at = Steps;
            while (at > 0 && at < value.Length - 1 && Math.Max(value[at - 1], value[at + 1]) > value[at])
            {
                at += value[at + 1] > value[at - 1] ? 1 : -1;
            }

            return at == 0 || at == value.Length - 1 ? double.NaN : from + ((at - Steps) * step)
                + (0.5 * step * (value[at - 1] - value[at + 1]) / (value[at - 1] - (2 * value[at]) + value[at + 1]));
        }

        private static double LowestBetween(Func<double, double> light, double from, double to)
        {
            const int Steps = 120;
            double step = (to - from) / Steps;
            double[] value = [.. Enumerable.Range(0, Steps + 1).Select(k => light(from + (k * step)))];
            int at = Array.IndexOf(value, value.Min());
            return from + (at * step) + (at is 0 or Steps ? 0
                : 0.5 * step * (value[at - 1] - value[at + 1]) / (value[at - 1] - (2 * value[at]) + value[at + 1]));
        }
    }
}
