using System.Numerics.Tensors;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Simulation;

/// <summary>Images of a star on a grid of field points, and in between by blending the four around.</summary>
internal sealed class FieldImages
{
    private const int Taps = 6;
    private const int MostNodesX = 13;
    private const int MostNodesY = 11;
    private readonly int nodesX;
    private readonly int nodesY;
    private readonly int size;
    private readonly int oversampling;
    private readonly double width;
    private readonly double height;
    private readonly float[][] values;
    private readonly double[] halfFlux;
    private readonly double[] centroidX;
    private readonly double[] centroidY;

    private FieldImages(int nodesX, int nodesY, int size, int oversampling, DetectorResponse detector, DiffractionStamp[] stamps, RunContext context)
    {
        this.nodesX = nodesX;
        this.nodesY = nodesY;
        this.size = size;
        this.oversampling = oversampling;
        width = detector.Width;
        height = detector.Height;
        values = new float[stamps.Length][];
        halfFlux = new double[stamps.Length];
        centroidX = new double[stamps.Length];
        centroidY = new double[stamps.Length];
        double[] shares = new double[stamps.Length];
        Parallel.For(0, stamps.Length, context.Parallel, k =>
        {
            values[k] = Array.ConvertAll(stamps[k].Values, v => (float)v);
            halfFlux[k] = stamps[k].HalfFluxRadiusPix();
            (centroidX[k], centroidY[k]) = stamps[k].Centroid();
            shares[k] = stamps[k].Share;
        });
        Share = shares.Min();
    }

    /// <summary>Width of a drawn star, pixels.</summary>
    public int Size => size;

    /// <summary>Share of the light inside the stamps, the least of all.</summary>
    public double Share { get; }

    /// <summary>Largest change of defocus between neighbouring points, um.</summary>
    public double DefocusStepUm { get; private set; }

    /// <summary>Computes the images.</summary>
    public static FieldImages Compute(StarFieldRequest request, IReadOnlyList<SpectralSample> spectrum, int size, RunContext context, double from, double to)
    {
        SimulatedTelescope telescope = request.Telescope;
        DetectorResponse detector = request.Detector;
        bool uniform = telescope.Field.IsUniform && telescope.Stops.Count == 0;
        double mean = SimulatedPassband.MeanWavelengthNm(spectrum) / 1000;
        double depth = 2 * mean * telescope.FocalRatio * telescope.FocalRatio;
        int nodesX = request.NodesX > 0 ? request.NodesX : uniform ? 1
            : Nodes(detector.Width * detector.PitchUm / 1000, telescope.Field.TiltXUmPerMm, telescope, depth, MostNodesX);
        int nodesY = request.NodesY > 0 ? request.NodesY : uniform ? 1
            : Nodes(detector.Height * detector.PitchUm / 1000, telescope.Field.TiltYUmPerMm, telescope, depth, MostNodesY);
        int oversampling = Math.Max(2, (int)Math.Ceiling(detector.PitchUm / (0.5 * mean * telescope.FocalRatio)));
        var stamps = new DiffractionStamp[nodesX * nodesY];
        int done = 0;
        Parallel.For(0, stamps.Length, context.Parallel, k =>
        {
            double x = Node(k % nodesX, nodesX, detector.Width);
            double y = Node(k / nodesX, nodesY, detector.Height);
            stamps[k] = DiffractionImage.Draw(
                ImageAt(telescope, request.Sky, detector, spectrum, request.FocusPositionUm, x, y) with { Size = size, Oversampling = oversampling },
                context.Cancel);
            context.Report(from + ((to - from) * Interlocked.Increment(ref done) / stamps.Length), "computing star images");
        });
        double Focus(int i, int j)
        {
            (double xMm, double yMm) = Millimetres(detector, Node(i, nodesX, detector.Width), Node(j, nodesY, detector.Height));
            return telescope.Field.DefocusUm(0, xMm, yMm);
        }

        double step = 0;
        for (int j = 0; j < nodesY; j++)
        {
            for (int i = 0; i < nodesX; i++)
            {
                step = i > 0 ? Math.Max(step, Math.Abs(Focus(i, j) - Focus(i - 1, j))) : step;
                step = j > 0 ? Math.Max(step, Math.Abs(Focus(i, j) - Focus(i, j - 1))) : step;
            }
        }

        return new FieldImages(nodesX, nodesY, size, oversampling, detector, stamps, context) { DefocusStepUm = step };
    }

    /// <summary>What the image of a star at a place on the sensor (pixels) is drawn from.</summary>
    public static DiffractionImageRequest ImageAt(
        SimulatedTelescope telescope, SimulatedSky sky, DetectorResponse detector, IReadOnlyList<SpectralSample> spectrum, double focusPositionUm, double x,
            double y)
    {
        (double xMm, double yMm) = Millimetres(detector, x, y);
        (double z5, double z6, double z7, double z8) = telescope.Field.AberrationsNm(xMm, yMm, telescope.FocalRatio);
        int[] terms = [.. telescope.NollTerms, 5, 6, 7, 8];
        double[] nm = [.. telescope.CoefficientsNm, z5, z6, z7, z8];
        double arcsec = telescope.FocalLengthMm * 1000 / Seeing.ArcsecPerRadian;

        // Lateral color: h times the difference in scale from that of the mean wavelength, where the star is placed.
        double reference = telescope.ScaleAt(SimulatedPassband.MeanWavelengthNm(spectrum));
        SpectralSample[] placed = [.. spectrum.Select(s => s with
        {
            OffsetXUm = s.OffsetXUm + ((xMm - telescope.Field.AxisXMm) * (s.RadialScalePpm - reference) / 1000),
            OffsetYUm = s.OffsetYUm + ((yMm - telescope.Field.AxisYMm) * (s.RadialScalePpm - reference) / 1000),
        })];
        return new DiffractionImageRequest
        {
            Pupil = telescope.PupilAt(xMm - telescope.Field.AxisXMm, yMm - telescope.Field.AxisYMm),
            ApertureMm = telescope.ApertureMm,
            FocalLengthMm = telescope.FocalLengthMm,
            Modes = [.. terms.Select(ZernikeIndex.FromNoll)],
            CoefficientsNm = nm,
            Spectrum = placed,
            ShiftUm = telescope.Field.DefocusUm(focusPositionUm, xMm, yMm),
            SeeingFwhmArcsec = sky.SeeingFwhmArcsec,
            DriftXUm = sky.DriftXArcsec * arcsec,
            DriftYUm = sky.DriftYArcsec * arcsec,
            JitterUm = sky.JitterArcsec * arcsec,
            PitchUm = detector.PitchUm,
        };
    }

    /// <summary>Place on the sensor in mm from its middle.</summary>
    public static (double X, double Y) Millimetres(DetectorResponse detector, double x, double y) =>
        ((x - ((detector.Width - 1) / 2.0)) * detector.PitchUm / 1000, (y - ((detector.Height - 1) / 2.0)) * detector.PitchUm / 1000);

    /// <summary>Truth of the image at a place: half-flux radius and centroid from the nominal place, pixels.</summary>
    public (double HalfFlux, double X, double Y) Facts(double x, double y)
    {
        double half = 0;
        double cx = 0;
        double cy = 0;
        foreach ((int node, double weight) in Around(x, y))
        {
            half += weight * halfFlux[node];
            cx += weight * centroidX[node];
            cy += weight * centroidY[node];
        }

        return (half, cx, cy);
    }

    /// <summary>
    /// The star at a place, one value a pixel, the stamp's lower left pixel at round(place) - Size/2: four images blended, then
    /// moved by the fraction of a pixel with six-point Lagrange interpolation along each axis.
    /// </summary>
    public float[] Draw(double x, double y)
    {
        int side = size * oversampling;
        float[] blend = new float[side * side];
        foreach ((int node, double weight) in Around(x, y))
        {
            if (weight != 0)
            {
                TensorPrimitives.MultiplyAdd(values[node], (float)weight, blend, blend);
            }
        }

        (int firstX, float[] tapsX) = TapsFor(x);
        (int firstY, float[] tapsY) = TapsFor(y);
        float[] rows = new float[side * size];
        for (int j = 0; j < side; j++)
        {
            for (int i = 0; i < size; i++)
            {
                rows[(j * size) + i] = Sum(blend, j * side, 1, (i * oversampling) + firstX, side, tapsX);
            }
        }

        float[] result = new float[size * size];
        for (int j = 0; j < size; j++)
        {
            for (int i = 0; i < size; i++)
            {
                result[(j * size) + i] = Sum(rows, i, size, (j * oversampling) + firstY, side, tapsY);
            }
        }

        return result;
    }

    private static float Sum(float[] data, int origin, int stride, int first, int count, float[] taps)
    {
        float sum = 0;
        for (int t = 0; t < Taps; t++)
        {
            int at = first + t;
            if ((uint)at < (uint)count)
            {
                sum += taps[t] * data[origin + (at * stride)];
            }
        }

        return sum;
    }

    /// <summary>First sample and weights for a star off its pixel's centre: the value wanted lies at -fraction x oversampling.</summary>
    private (int First, float[] Taps) TapsFor(double place)
    {
        double fraction = place - Math.Round(place);
        double at = -fraction * oversampling;
        int low = (int)Math.Floor(at);
        double t = at - low;
        float[] taps = new float[Taps];
        for (int k = 0; k < Taps; k++)
        {
            double weight = 1;
            for (int m = 0; m < Taps; m++)
            {
                weight *= m == k ? 1 : (t - (m - 2)) / (k - m);
            }

            taps[k] = (float)weight;
        }

        return (low - 2, taps);
    }

    /// <summary>Points along one side: no more than 4 mm, at the edge a quarter wave of defocus, and an eighth of the cone at a stop apart.</summary>
    private static int Nodes(double sideMm, double tilt, SimulatedTelescope telescope, double depthUm, int most)
    {
        FieldErrors field = telescope.Field;
        double bend = Math.Max(Math.Abs(field.CurvatureUmPerMm2), Math.Abs(field.AstigmatismUmPerMm2));
        double slope = Math.Abs(tilt) + (bend * sideMm);
        double shadow = telescope.Stops.Select(s => 8 * telescope.FocalRatio / s.DistanceMm).DefaultIfEmpty(0).Max();
        return (int)Math.Clamp(1 + Math.Ceiling(sideMm * Math.Max(0.25, Math.Max(slope / depthUm, shadow))), 2, most);
    }

    private static double Node(int k, int nodes, double extent) => nodes == 1 ? (extent - 1) / 2 : (k * extent / (nodes - 1)) - 0.5;

    private IEnumerable<(int Node, double Weight)> Around(double x, double y)
    {
        (int ix, double tx) = Cell(x, nodesX, width);
        (int iy, double ty) = Cell(y, nodesY, height);
        yield return ((iy * nodesX) + ix, (1 - tx) * (1 - ty));
        if (nodesX > 1)
        {
            yield return ((iy * nodesX) + ix + 1, tx * (1 - ty));
        }

        if (nodesY > 1)
        {
            yield return (((iy + 1) * nodesX) + ix, (1 - tx) * ty);
        }

        if (nodesX > 1 && nodesY > 1)
        {
            yield return (((iy + 1) * nodesX) + ix + 1, tx * ty);
        }
    }

    private static (int Index, double Fraction) Cell(double place, int nodes, double extent)
    {
        if (nodes == 1)
        {
            return (0, 0);
        }

        double at = Math.Clamp((place + 0.5) / extent, 0, 1) * (nodes - 1);
        int index = Math.Min((int)at, nodes - 2);
        return (index, at - index);
    }
}
