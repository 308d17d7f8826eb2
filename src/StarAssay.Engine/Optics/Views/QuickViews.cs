using System.Numerics;
using System.Numerics.Tensors;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;
using Parts = StarAssay.Engine.Numerics.SeparableTransform.Parts;

namespace StarAssay.Engine.Optics.Views;

/// <summary>All pictures of one wavefront, for a slider.</summary>
/// <param name="Map">The pupil.</param>
/// <param name="Points">Points along each side of the star's pictures.</param>
/// <param name="HalfWidthLambdaN">Half the width of the focused image in wavelength x focal ratio.</param>
/// <param name="DefocusWaves">Defocus of the two stars out of focus, waves at the rim.</param>
/// <param name="RulingWaves">Defocus at the ruling, waves at the rim, positive away from the objective.</param>
/// <param name="RulingLines">Line pairs of the ruling across a perfect pupil.</param>
/// <param name="KnifeLambdaN">Coordinate of the knife's edge, in wavelength x focal ratio; what lies below it is covered.</param>
/// <param name="TiltFringes">Fringes of tilt across the pupil, along x.</param>
public sealed record QuickViewsRequest(PupilMap Map, int Points = 128, double HalfWidthLambdaN = 5, double DefocusWaves = 3, double RulingWaves = 2,
    double RulingLines = 4, double KnifeLambdaN = 0, double TiltFringes = 5);

/// <summary>Pictures and curves. Rows along y, the first at the bottom; NaN outside the pupil.</summary>
/// <param name="Samples">Samples along each side of the pupil's pictures.</param>
/// <param name="Points">Points along each side of the star's pictures.</param>
/// <param name="WavefrontNm">Wavefront error, mean out, nm.</param>
/// <param name="Focused">The star in focus, 1 = center of the perfect image.</param>
/// <param name="Inside">The star nearer to the objective than the focus, likewise.</param>
/// <param name="Outside">The star beyond the focus, likewise.</param>
/// <param name="Ronchigram">Brightness of the pupil behind the ruling, 1 = nothing in the way.</param>
/// <param name="KnifeEdge">Brightness of the pupil behind the knife.</param>
/// <param name="Interferogram">Fringes, 0 to 1.</param>
/// <param name="Frequency">Spatial frequency, share of the cutoff.</param>
/// <param name="HorizontalMtf">MTF for detail that varies along x.</param>
/// <param name="VerticalMtf">MTF for detail that varies along y.</param>
/// <param name="PerfectMtf">That of the same pupil without error, along x.</param>
/// <param name="RadiusLambdaN">Radii, in wavelength x focal ratio.</param>
/// <param name="EncircledEnergy">Share of the light inside them.</param>
/// <param name="PerfectEnergy">The same without error.</param>
/// <param name="StrehlRatio">Intensity in the center of the best image over that without error (tilt taken out).</param>
/// <param name="RmsNm">Root mean square of the error over what is open.</param>
/// <param name="PeakToValleyNm">Largest less smallest error.</param>
/// <param name="PairHalfWidthLambdaN">Half the width of the two pictures out of focus.</param>
public sealed record QuickViewsResult(int Samples, int Points, float[] WavefrontNm, float[] Focused, float[] Inside, float[] Outside, float[] Ronchigram,
    float[] KnifeEdge, float[] Interferogram, double[] Frequency, double[] HorizontalMtf, double[] VerticalMtf, double[] PerfectMtf,
    double[] RadiusLambdaN, double[] EncircledEnergy, double[] PerfectEnergy, double StrehlRatio, double RmsNm, double PeakToValleyNm,
    double PairHalfWidthLambdaN);

/// <summary>
/// The views of <see cref="FocusedImages"/>, <see cref="ShadowTests"/>, <see cref="Modulations"/> and <see cref="Interferograms"/>
/// together and in single precision, fast enough to follow a slider; those are the ones to measure with, and what the tests compare with.
/// </summary>
public static class QuickViews
{
    // The plane of ruling and knife is followed so far out, in lambda N, and so finely: light beyond is lost (0.6 % of a perfect star's).
    private const double Reach = 16;
    private const double Step = 0.25;
    private const int PlanePoints = (int)(2 * Reach / Step);

    // Room round the disc of a star out of focus, lambda N.
    private const double Margin = 5;
    private const int Radii = 49;
    private const double LargestRadius = 8;

    // The light within circles is added up on finer points.
    private const double FineStep = 0.125;
    private const int FinePoints = (int)(2 * LargestRadius / FineStep) + 4;
    private const double FineReach = 0.5 * (FinePoints - 1) * FineStep;

    /// <summary>Draws them.</summary>
    /// <exception cref="InputException">A number is out of range.</exception>
    public static QuickViewsResult Draw(QuickViewsRequest request, RunContext context)
    {
        PupilMap map = request.Map;
        map.RequireValid();
        InputException.RequireRange(map.Size, 16, 256, "samples", "");
        InputException.RequireRange(request.Points, 16, 512, "points", "");
        InputException.RequireRange(request.HalfWidthLambdaN, 0.5, 40, "half_width_lambda_n", "lambda N");
        InputException.RequireRange(request.DefocusWaves, 0, 8, "defocus_waves", "waves");
        InputException.RequireRange(Math.Abs(request.RulingWaves), 0.1, 3, "ruling_waves", "waves");
        InputException.RequireRange(request.RulingLines, 1, 16, "ruling_lines", "");
        InputException.RequireRange(request.KnifeLambdaN, -Reach, Reach, "knife_lambda_n", "lambda N");
        InputException.RequireRange(Math.Abs(request.TiltFringes), 0, 40, "tilt_fringes", "");
        int n = map.Size, m = request.Points;
        var pupil = new Open(map);
        double wide = (4 * request.DefocusWaves) + Margin, half = request.HalfWidthLambdaN;
        var near = new SeparableTransform(n, m, -half, 2 * half / (m - 1));
        var pair = new SeparableTransform(n, m, -wide, 2 * wide / (m - 1));
        var plane = new SeparableTransform(n, PlanePoints, -Reach + (0.5 * Step), Step);
        var fine = new SeparableTransform(n, FinePoints, -FineReach, FineStep);
        float[] focused = [], inside = [], outside = [], ronchi = [], knife = [], fringes = [];
        double[] energy = [], perfectEnergy = [], horizontal = [], vertical = [], perfect = [];

        // The disc's radius in lambda N is four times the waves at the rim.
        double period = 8 * Math.Abs(request.RulingWaves) / request.RulingLines;
        Action[] all =
        [
            () => focused = pupil.Image(near, 0),
            () => inside = pupil.Image(pair, -request.DefocusWaves),
            () => outside = pupil.Image(pair, request.DefocusWaves),
            () => ronchi = pupil.Behind(plane, request.RulingWaves, x => Math.Clamp((((period / 4) - Math.Abs(Math.IEEERemainder(x, period))) / Step) + 0.5,
                0, 1)),
            () => knife = pupil.Behind(plane, 0, x => Math.Clamp(((x - request.KnifeLambdaN) / Step) + 0.5, 0, 1)),
            () => energy = Encircled(pupil.Image(fine, 0), pupil),
            () => perfectEnergy = Encircled(pupil.Perfect.Image(fine, 0), pupil),
            () => (horizontal, vertical) = pupil.Modulation(),
            () => (perfect, _) = pupil.Perfect.Modulation(),
            () => fringes = pupil.Fringes(request.TiltFringes),
        ];
        Sharing.For(all.Length, context, k => all[k]());
        return new QuickViewsResult(n, m, pupil.Centered(), focused, inside, outside, ronchi, knife, fringes,
            [.. Enumerable.Range(0, n + 1).Select(k => k / (double)n)], horizontal, vertical, perfect,
            [.. Enumerable.Range(0, Radii).Select(Radius)], energy, perfectEnergy, pupil.Strehl(), pupil.RmsNm(), pupil.PeakToValleyNm(), wide);
    }

    private static double Radius(int k) => LargestRadius * k / (Radii - 1);

    /// <summary>Shares of the light within radii: sums over the picture, each of its samples cut by the circle as a square of its size would be.</summary>
    private static double[] Encircled(float[] image, Open pupil)
    {
        double[] within = new double[Radii];
        for (int j = 0; j < FinePoints; j++)
        {
            double y = (j * FineStep) - FineReach;
            for (int i = 0; i < FinePoints; i++)
            {
                double x = (i * FineStep) - FineReach, r = Math.Sqrt((x * x) + (y * y)), value = image[(j * FinePoints) + i];

                // Radii share it out while the circle passes through it; those beyond hold all of it, and are added up afterwards.
                int first = Math.Max(0, (int)Math.Ceiling((r - (0.5 * FineStep)) / LargestRadius * (Radii - 1)));
                double before = 0;
                for (int k = first; k < Radii && before < 1; k++)
                {
                    double now = Math.Min(1, ((Radius(k) - r) / FineStep) + 0.5);
                    within[k] += value * (now - before);
                    before = now;
                }
            }
        }

        for (int k = 1; k < Radii; k++)
        {
            within[k] += within[k - 1];
        }

        // All of it by Parseval's theorem; the rim's samples pass what their open share does.
        double whole = (double)pupil.Size * pupil.Size / (pupil.Sum * FineStep * FineStep);
        return [.. within.Select(v => v / whole)];
    }

    /// <summary>What is open, in single precision.</summary>
    internal sealed class Open
    {
        private readonly float[] waves;
        private readonly float[] share;
        private readonly double wavelengthNm;

        public Open(PupilMap map)
        {
            Size = map.Size;
            wavelengthNm = map.WavelengthNm;
            waves = new float[Size * Size];
            share = new float[Size * Size];
            double mean = 0;
            for (int k = 0; k < waves.Length; k++)
            {
                double a = map.AmplitudeAt(k / Size, k % Size);
                share[k] = (float)a;
                waves[k] = a > 0 ? (float)(map.WavefrontNm[k / Size, k % Size] / wavelengthNm) : 0;
                (mean, Sum) = (mean + (a * waves[k]), Sum + a);
            }

            if (!(Sum > 0))
            {
                throw new InputException("views.map", "Nothing of this pupil is open. Give a wavefront with numbers in it.", "map");
            }

            TensorPrimitives.Subtract(waves, (float)(mean / Sum), waves);
            Perfect = new Open(Size, wavelengthNm, share, Sum);
        }

        private Open(int size, double wavelengthNm, float[] share, double sum)
        {
            (Size, this.wavelengthNm, this.share, Sum, waves) = (size, wavelengthNm, share, sum, new float[share.Length]);
            Perfect = this;
        }

        public int Size { get; }

        public double Sum { get; }

        public Open Perfect { get; }

        /// <summary>The field with so many waves of defocus at the rim; signs as in <see cref="PupilMap.Field"/>.</summary>
        public Parts Field(double defocusWaves)
        {
            var field = new Parts(new float[share.Length], new float[share.Length]);
            float[] phase = new float[share.Length];
            for (int y = 0; y < Size; y++)
            {
                double v = ((2 * y) + 1 - Size) / (double)Size;
                for (int x = 0; x < Size; x++)
                {
                    double u = ((2 * x) + 1 - Size) / (double)Size;
                    phase[(y * Size) + x] = (float)(-2 * Math.PI * (waves[(y * Size) + x] + (defocusWaves * ((u * u) + (v * v)))));
                }
            }

            TensorPrimitives.SinCos(phase, field.Im, field.Re);
            TensorPrimitives.Multiply(field.Re, share, field.Re);
            TensorPrimitives.Multiply(field.Im, share, field.Im);
            return field;
        }

        public float[] Image(SeparableTransform to, double defocusWaves)
        {
            float[] image = Squared(to.Forward(Field(defocusWaves)));
            TensorPrimitives.Multiply(image, (float)(1 / (Sum * Sum)), image);
            return image;
        }

        /// <summary>The pupil behind a mask whose openness goes with x.</summary>
        public float[] Behind(SeparableTransform plane, double defocusWaves, Func<double, double> openness)
        {
            Parts light = plane.Forward(Field(defocusWaves));
            float[] mask = [.. Enumerable.Range(0, PlanePoints).Select(k => (float)openness(-Reach + ((k + 0.5) * Step)))];
            for (int row = 0; row < PlanePoints; row++)
            {
                Span<float> re = light.Re.AsSpan(row * PlanePoints, PlanePoints), im = light.Im.AsSpan(row * PlanePoints, PlanePoints);
                TensorPrimitives.Multiply(re, mask, re);
                TensorPrimitives.Multiply(im, mask, im);
            }

            return Squared(plane.Back(light));
        }

        /// <summary>MTF along x and along y: the pupil's overlap with itself, shifted.</summary>
        public (double[] Horizontal, double[] Vertical) Modulation()
        {
            Parts field = Field(0);
            return (Overlap(new Parts(Turned(field.Re), Turned(field.Im))), Overlap(field));
        }

        public float[] Fringes(double tilt)
        {
            float[] fringes = new float[share.Length];
            for (int k = 0; k < fringes.Length; k++)
            {
                double u = ((2 * (k % Size)) + 1 - Size) / (double)Size;
                fringes[k] = (float)(2 * Math.PI * (waves[k] + (0.5 * tilt * u)));
            }

            TensorPrimitives.Cos(fringes, fringes);
            TensorPrimitives.Multiply(fringes, 0.5f, fringes);
            TensorPrimitives.Add(fringes, 0.5f, fringes);
            return Masked(fringes);
        }

        public float[] Centered()
        {
            float[] nm = (float[])waves.Clone();
            TensorPrimitives.Multiply(nm, (float)wavelengthNm, nm);
            return Masked(nm);
        }

        public double RmsNm()
        {
            double sum = 0;
            for (int k = 0; k < waves.Length; k++)
            {
                sum += share[k] * (double)waves[k] * waves[k];
            }

            return wavelengthNm * Math.Sqrt(sum / Sum);
        }

        public double PeakToValleyNm()
        {
            double low = double.PositiveInfinity, high = double.NegativeInfinity;
            for (int k = 0; k < waves.Length; k++)
            {
                // Samples of the rim that lie outside of it for the most part are not the wavefront's.
                (low, high) = share[k] >= 0.5 ? (Math.Min(low, waves[k]), Math.Max(high, waves[k])) : (low, high);
            }

            return wavelengthNm * (high - low);
        }

        /// <summary>Of the wavefront without its tilt, by the pupil's sum.</summary>
        public double Strehl()
        {
            double xx = 0, yy = 0, xw = 0, yw = 0;
            for (int k = 0; k < waves.Length; k++)
            {
                double u = ((2 * (k % Size)) + 1 - Size) / (double)Size, v = ((2 * (k / Size)) + 1 - Size) / (double)Size, a = share[k];
                (xx, yy, xw, yw) = (xx + (a * u * u), yy + (a * v * v), xw + (a * u * waves[k]), yw + (a * v * waves[k]));
            }

            Complex sum = Complex.Zero;
            for (int k = 0; k < waves.Length; k++)
            {
                double u = ((2 * (k % Size)) + 1 - Size) / (double)Size, v = ((2 * (k / Size)) + 1 - Size) / (double)Size;
                sum += Complex.FromPolarCoordinates(share[k], 2 * Math.PI * (waves[k] - (xw / xx * u) - (yw / yy * v)));
            }

            return (sum.Real * sum.Real / (Sum * Sum)) + (sum.Imaginary * sum.Imaginary / (Sum * Sum));
        }

        private double[] Overlap(Parts f)
        {
            double[] mtf = new double[Size + 1];
            for (int k = 0; k < Size; k++)
            {
                int from = k * Size, count = f.Re.Length - from;
                ReadOnlySpan<float> aRe = f.Re.AsSpan(from, count), aIm = f.Im.AsSpan(from, count), bRe = f.Re.AsSpan(0, count), bIm = f.Im.AsSpan(0, count);
                double re = TensorPrimitives.Dot(aRe, bRe) + TensorPrimitives.Dot(aIm, bIm);
                double im = TensorPrimitives.Dot(aIm, bRe) - (double)TensorPrimitives.Dot(aRe, bIm);

                // At no shift a sample overlaps itself by the share of it that is open, not by that share's square.
                mtf[k] = k == 0 ? 1 : Math.Sqrt((re * re) + (im * im)) / Sum;
            }

            return mtf;
        }

        private float[] Turned(float[] rows)
        {
            float[] turned = new float[rows.Length];
            for (int y = 0; y < Size; y++)
            {
                for (int x = 0; x < Size; x++)
                {
                    turned[(x * Size) + y] = rows[(y * Size) + x];
                }
            }

            return turned;
        }

        private static float[] Squared(Parts field)
        {
            float[] square = new float[field.Re.Length];
            TensorPrimitives.Multiply(field.Re, field.Re, square);
            TensorPrimitives.MultiplyAdd(field.Im, field.Im, square, square);
            return square;
        }

        private float[] Masked(float[] values)
        {
            for (int k = 0; k < values.Length; k++)
            {
                values[k] = share[k] > 0 ? values[k] : float.NaN;
            }

            return values;
        }
    }
}
