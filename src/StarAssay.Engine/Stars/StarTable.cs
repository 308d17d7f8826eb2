using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>Turns the records of a frame's stars into the result: final flags, pixel and noise corrections, zones, notes.</summary>
internal static class StarTable
{
    private const StarMarks Unclean = StarMarks.Saturated | StarMarks.Edge | StarMarks.Blended | StarMarks.CosmicRay | StarMarks.NotAStar
        | StarMarks.BadPixels | StarMarks.NoShape;

    private const int Block = 256;
    private const int Ahead = 6;

    // Second moment that a pixel's own square adds along each axis, px^2.
    private const double PixelVariance = 1.0 / 12;

    public static StarField Build(StarRequest request, MeterSettings set, StarRecord[] stars, double correlation, TypicalStar typical, RunContext context)
    {
        ColorLattice lattice = set.Lattice ?? ColorLattice.Of(request, set.Frame);
        double axisX = request.Axis.Length == 2 ? request.Axis[0] : 0.5 * (lattice.FrameWidth - 1);
        double axisY = request.Axis.Length == 2 ? request.Axis[1] : 0.5 * (lattice.FrameHeight - 1);
        (double axisU, double axisV) = lattice.FromFrame(axisX, axisY);
        int n = stars.Length;
        SizeSurface surface = null!;
        StarsAround around = null!;
        int[] order = [];
        double sky = 0, noise = 0;
        Action[] first = [() => surface = SizeSurface.Fit(stars, set), () => around = new StarsAround(stars), () => order = ByFlux(stars),
            () => sky = MeshMedian(set, noise: false), () => noise = MeshMedian(set, noise: true)];
        Sharing.For(first.Length, context, k => first[k]());
        var c = new Columns(n) { NoiseRelative = double.IsNaN(set.Frame.GainElectronsPerAdu) ? typical.UsedGainRelative : 0 };
        Sharing.For((n + Block - 1) / Block, context, block =>
        {
            for (int k = block * Block; k < Math.Min(n, (block + 1) * Block); k++)
            {
                // By brightness the records lie all over the memory.
                Fetch.Ahead(in stars[order[Math.Min(k + Ahead, n - 1)]]);
                StarJudge.Judge(ref stars[order[k]], set, surface, around);
                c.Fill(k, stars[order[k]], set, axisU, axisV);
                if (lattice.IsMosaic)
                {
                    c.ToFrame(k, lattice, set.OuterRadius);
                }
            }
        });
        var index = new List<int>(n);
        for (int k = 0; k < n; k++)
        {
            if (((StarMarks)c.Flags[k] & Unclean) == 0 && c.Snr[k] > 10)
            {
                index.Add(k);
            }
        }

        int[] cleanIndex = [.. index];
        Note[] kind = [.. FieldKind.Doubts(c, set)];
        IReadOnlyList<Note> notes = StarJudge.Notes(set, c.Flags, cleanIndex.Length, correlation, typical, surface, request, kind.Length == 0);
        notes = [.. kind, .. notes, .. StarJudge.FlatTops(c, cleanIndex, set.Frame.Name)];
        (ZoneSummary whole, ZoneSummary[] zones) = ZoneTable.Of(c, cleanIndex, lattice.FrameWidth, lattice.FrameHeight, axisX, axisY, context);
        return new StarField
        {
            X = c.X,
            Y = c.Y,
            XUncertainty = c.XError,
            YUncertainty = c.YError,
            Flux = c.Flux,
            FluxUncertainty = c.FluxError,
            Peak = c.Peak,
            Sky = c.Sky,
            SkyNoise = c.SkyNoise,
            Snr = c.Snr,
            Hfr = c.Hfr,
            HfrUncertainty = c.HfrError,
            HfrRecorded = c.HfrRecorded,
            Fwhm = c.Fwhm,
            FwhmUncertainty = c.FwhmError,
            ProfileFwhm = c.ProfileFwhm,
            ProfileFwhmUncertainty = c.ProfileFwhmError,
            MoffatBeta = c.Beta,
            Ellipticity = c.Ellipticity,
            EllipticityUncertainty = c.EllipticityError,
            PositionAngleDeg = c.Angle,
            RadialEllipticity = c.Radial,
            CrossEllipticity = c.Cross,
            SigmaMajor = c.Major,
            SigmaMinor = c.Minor,
            AxisDistancePx = c.Distance,
            Flags = c.Flags,
            Zones = zones,
            MedianHfr = whole.Hfr,
            MedianFwhm = whole.Fwhm,
            MedianProfileFwhm = ZoneTable.Median(c.ProfileFwhm, cleanIndex, "pix"),
            TypicalEllipticity = whole.Ellipticity,
            CleanStars = cleanIndex.Length,
            OuterRadiusPx = set.OuterRadius * lattice.Side,
            SnrRadiusPx = set.SnrRadius * lattice.Side,
            SaturationAdu = set.Saturation,
            MedianSky = sky,
            MedianSkyNoise = noise,
            NoiseCorrelation = correlation,
            Width = lattice.FrameWidth,
            Height = lattice.FrameHeight,
            Axis = [axisX, axisY],
            PixelScaleArcsecPerPx = FieldFigures.PixelScale(request, set.Frame),
            ScaleFromSky = double.IsFinite(request.PixelScaleArcsecPerPx),
            FilterWavelengthNm = request.FilterWavelengthNm,
            Notes = notes,
        };
    }

    /// <summary>Brightest first; a star without a flux comes last.</summary>
    private static int[] ByFlux(StarRecord[] stars)
    {
        double[] flux = new double[stars.Length];
        for (int i = 0; i < flux.Length; i++)
        {
            flux[i] = stars[i].Flux;
        }

        return Ranking.Descending(flux);
    }

    private static double MeshMedian(MeterSettings set, bool noise)
    {
        float[] values = new float[set.Mesh.Columns * set.Mesh.Rows];
        for (int j = 0; j < set.Mesh.Rows; j++)
        {
            for (int i = 0; i < set.Mesh.Columns; i++)
            {
                values[(j * set.Mesh.Columns) + i] = noise ? set.Mesh.Noise(i, j) : set.Mesh.Level(i, j);
            }
        }

        return Rank.Median(values);
    }

    /// <summary>The columns of the table while they are filled.</summary>
    internal sealed class Columns(int n)
    {
        public readonly double[] X = new double[n];
        public readonly double[] Y = new double[n];
        public readonly double[] XError = new double[n];
        public readonly double[] YError = new double[n];
        public readonly double[] Flux = new double[n];
        public readonly double[] FluxError = new double[n];
        public readonly double[] Peak = new double[n];
        public readonly double[] Sky = new double[n];
        public readonly double[] SkyNoise = new double[n];
        public readonly double[] Snr = new double[n];
        public readonly double[] Hfr = new double[n];
        public readonly double[] HfrError = new double[n];
        public readonly double[] HfrRecorded = new double[n];
        public readonly double[] Fwhm = new double[n];
        public readonly double[] FwhmError = new double[n];
        public readonly double[] FwhmShared = new double[n];
        public readonly double[] ProfileFwhm = new double[n];
        public readonly double[] ProfileFwhmError = new double[n];
        public readonly double[] Beta = new double[n];
        public readonly double[] Ellipticity = new double[n];
        public readonly double[] EllipticityError = new double[n];
        public readonly double[] Angle = new double[n];
        public readonly double[] Radial = new double[n];
        public readonly double[] Cross = new double[n];
        public readonly double[] Major = new double[n];
        public readonly double[] Minor = new double[n];
        public readonly double[] Distance = new double[n];
        public readonly int[] Flags = new int[n];

        /// <summary>Relative standard uncertainty of the photons' noise that all stars share.</summary>
        public double NoiseRelative { get; init; }

        public void Fill(int k, in StarRecord star, MeterSettings set, double axisX, double axisY)
        {
            X[k] = star.X;
            Y[k] = star.Y;
            XError[k] = star.XError;
            YError[k] = star.YError;
            Flux[k] = star.Flux;
            FluxError[k] = star.FluxError;
            Peak[k] = star.Peak;
            Sky[k] = star.Sky;
            SkyNoise[k] = star.Noise;
            Snr[k] = star.Snr;
            HfrRecorded[k] = star.HfrRecorded;
            HfrError[k] = star.HfrError;
            Hfr[k] = star.Hfr;
            Fwhm[k] = star.Fwhm;
            FwhmError[k] = star.FwhmError;
            FwhmShared[k] = star.FwhmShared;
            ProfileFwhm[k] = star.ProfileFwhm;
            ProfileFwhmError[k] = star.ProfileFwhmError;
            Beta[k] = star.Beta;
            Shape(k, star, set, axisX, axisY);
            Flags[k] = (int)star.Marks;
        }

        /// <summary>From the lattice of one color to the pixels of the frame.</summary>
        public void ToFrame(int k, ColorLattice lattice, double outer)
        {
            (X[k], Y[k]) = lattice.ToFrame(X[k], Y[k]);
            double side = lattice.Side, reach = (outer * side) - 0.5, turned = Angle[k] + lattice.TurnDeg;
            (XError[k], YError[k]) = lattice.TurnDeg > 0
                ? (side * Math.Sqrt(0.5 * ((XError[k] * XError[k]) + (YError[k] * YError[k]))),
                    side * Math.Sqrt(0.5 * ((XError[k] * XError[k]) + (YError[k] * YError[k]))))
                : (side * XError[k], side * YError[k]);
            foreach (double[] length in (double[][])[Hfr, HfrError, HfrRecorded, Fwhm, FwhmError, FwhmShared, ProfileFwhm, ProfileFwhmError, Major, Minor,
                Distance])
            {
                length[k] *= side;
            }

            Angle[k] = turned > 90 ? turned - 180 : turned;
            if (X[k] < reach || Y[k] < reach || X[k] > lattice.FrameWidth - 1 - reach || Y[k] > lattice.FrameHeight - 1 - reach)
            {
                Flags[k] |= (int)StarMarks.Edge;
            }
        }

        private void Shape(int k, in StarRecord star, MeterSettings set, double axisX, double axisY)
        {
            double dx = star.X - axisX, dy = star.Y - axisY;
            Distance[k] = Math.Sqrt((dx * dx) + (dy * dy));
            double pixel = PixelVariance * set.Fill, cxx = star.Cxx - pixel, cyy = star.Cyy - pixel, trace = cxx + cyy;
            double e1 = (cxx - cyy) / trace, e2 = 2 * star.Cxy / trace, e = Math.Sqrt((e1 * e1) + (e2 * e2));
            if (!(trace > 0.05) || !(e < 1))
            {
                Ellipticity[k] = EllipticityError[k] = Angle[k] = Radial[k] = Cross[k] = Major[k] = Minor[k] = double.NaN;
                return;
            }

            // Noise of either component for a matched Gaussian weight, from the sky and from the star's photons.
            double size = 0.5 * (star.Cxx + star.Cyy), flux = star.ShapeFlux, gain = double.IsNaN(set.Gain) ? double.PositiveInfinity : set.Gain;
            double variance = (16 * Math.PI * size * star.Noise * star.Noise / (flux * flux)) + (64.0 / 27 / (flux * gain));
            double error = Math.Sqrt(variance) * (2 * size / trace);

            // Noise adds twice its variance to the mean of e^2.
            double clean = Math.Sqrt(Math.Max(0, (e * e) - (2 * error * error)));
            Major[k] = Math.Sqrt(0.5 * trace * (1 + e));
            Minor[k] = Math.Sqrt(0.5 * trace * (1 - e));
            double oneMinus = 1 - Math.Sqrt((1 - clean) / (1 + clean));
            Ellipticity[k] = oneMinus;
            EllipticityError[k] = error;
            Angle[k] = Math.Atan2(e2, e1) * 90 / Math.PI;

            // Components in the frame turned by t to the line through the axis, cos 2t = (dx^2 - dy^2) / d^2, sin 2t = 2 dx dy / d^2;
            // scaled from the moments' e to 1 - b/a.
            double square = (dx * dx) + (dy * dy), full = 1 - Math.Sqrt((1 - e) / (1 + e));
            double cos = square > 0 ? ((dx * dx) - (dy * dy)) / square : 1, sin = square > 0 ? 2 * dx * dy / square : 0;
            double scale = e > 0 ? full / e : 0;
            Radial[k] = scale * ((e1 * cos) + (e2 * sin));
            Cross[k] = scale * ((e2 * cos) - (e1 * sin));
        }
    }
}
