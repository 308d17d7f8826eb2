using System.Numerics;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Measurements.WavefrontField;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Measurements;

/// <summary>Laws over the field against closed forms: Seidel's field dependence and nodal aberration theory (Thompson 2005, J. Opt. Soc. Am. A
/// 22, 1389, from memory).</summary>
public class WavefrontFieldTests
{
    private static readonly (double U, double V)[] Places = [.. from j in Enumerable.Range(0, 6) from i in Enumerable.Range(0, 8)
        select ((i - 3.5) / 5, (j - 2.5) / 5)];

    // b2 (h - p)(h - q) vanishes at p and q, whatever b2 is.
    [Theory]
    [InlineData(0.3, -0.2, -0.5, 0.4, 25)]
    [InlineData(0.1, 0.1, 0.1, 0.1, -60)]
    public void Astigmatism_vanishes_at_its_two_nodes(double px, double py, double qx, double qy, double b2)
    {
        Complex p = new(px, py), q = new(qx, qy);
        Complex b1 = -b2 * (p + q), b0 = b2 * p * q;
        double[] terms = [b0.Real, b0.Imaginary, b1.Real, b1.Imaginary, b2];
        (Complex first, Complex second) = FieldTerms.Nodes(terms);
        Assert.Equal(0, Math.Min(Complex.Abs(first - p), Complex.Abs(second - p)), 6);
        Assert.Equal(0, Math.Min(Complex.Abs(first - q), Complex.Abs(second - q)), 6);
        Assert.All(FieldTerms.At(FieldTerms.Astigmatism(px, py), terms), v => Assert.Equal(0, v, 9));
    }

    // Seidel: centered optics have coma along the radius, growing with it, and astigmatism with its square and twice its angle.
    [Fact]
    public void Centered_optics_follow_Seidel()
    {
        foreach ((double u, double v) in Places)
        {
            (double r, double angle) = (Math.Sqrt((u * u) + (v * v)), Math.Atan2(v, u));
            double[] coma = FieldTerms.At(FieldTerms.Coma(u, v), [0, 0, 30]), astigmatism = FieldTerms.At(FieldTerms.Astigmatism(u, v), [0, 0, 0, 0, 40]);
            Assert.Equal(30 * r * Math.Cos(angle), coma[0], 9);
            Assert.Equal(30 * r * Math.Sin(angle), coma[1], 9);
            Assert.Equal(40 * r * r * Math.Cos(2 * angle), astigmatism[0], 9);
            Assert.Equal(40 * r * r * Math.Sin(2 * angle), astigmatism[1], 9);
        }
    }

    [Fact]
    public void A_law_without_noise_comes_back_although_some_stars_are_none()
    {
        double[] truth = [5, -3, 20, 7, -40];
        StarValue[] stars = [.. Places.Select((p, i) =>
        {
            double[,] row = FieldTerms.Astigmatism(p.U, p.V);
            double[] value = FieldTerms.At(row, truth);
            double wrong = i % 9 == 4 ? 300 : 0;
            return new StarValue([value[0] + wrong, value[1] - wrong], [1e-6, 1e-6], row);
        })];
        FieldLaw law = FieldLaw.Of(stars);
        for (int k = 0; k < truth.Length; k++)
        {
            Assert.Equal(truth[k], law.Values[k], 2);
        }
    }

    // Least squares: the covariance of a constant and a slope from n independent values is s^2 (X^T X)^-1; the jackknife tells it to about
    // one over the root of twice the number of stars, and the mean over many draws must agree within a tenth.
    [Fact]
    public void Bars_are_those_of_least_squares_when_stars_scatter_normally()
    {
        var random = new Random(4);
        double Normal() => Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
        const double Scatter = 3;
        double constant = 0, slope = 0, inside = 0;
        const int Draws = 100;
        double uu = Places.Sum(p => p.U * p.U);
        for (int d = 0; d < Draws; d++)
        {
            FieldLaw law = FieldLaw.Of([.. Places.Select(p => new StarValue([7 + (2 * p.U) + (Scatter * Normal())], [0.1], FieldTerms.Plane(p.U, p.V)))]);
            constant += law.Sigma(0) / Draws;
            slope += law.Sigma(1) / Draws;
            inside += Math.Abs(law.Values[1] - 2) < law.Sigma(1) ? 1.0 / Draws : 0;
        }

        // 95 % efficient: bars 1 / sqrt(0.95) wider than those of least squares.
        Assert.Equal(1.026, constant / (Math.Sqrt(Scatter * Scatter + 0.1) / Math.Sqrt(Places.Length)), 0.1);
        Assert.Equal(1.026, slope / (Math.Sqrt(Scatter * Scatter + 0.1) / Math.Sqrt(uu)), 0.1);

        // Binomial with 100 draws: 0.68 within three standard deviations of 0.047.
        Assert.InRange(inside, 0.54, 0.82);
    }

    [Fact]
    public void A_sensor_that_is_flat_and_perfect_has_no_error_and_tilt_adds_its_own()
    {
        double[] none = [0, 0, 0], still = [0, 0, 0, 0, 0];
        Assert.Equal(0, SensorQuality.Of(0.8, 0.6, 1, [0, 0, 0, 0], none, still, [0], [0, 0]).Rms, 9);

        // z = a u over -0.8..0.8 on a grid of 41: variance a^2 0.8^2 (41^2 - 1) / (3 40^2).
        double expected = 10 * 0.8 * Math.Sqrt(((41.0 * 41) - 1) / (3 * 40 * 40));
        Assert.Equal(expected, SensorQuality.Of(0.8, 0.6, 1, [0, 10, 0, 0], none, still, [0], [0, 0]).Rms, 9);
    }

    [Fact]
    public void One_frame_and_the_same_frame_twice_are_refused()
    {
        var frame = new Frame { Pixels = RawPixels.FromFloats(new float[64 * 64], 64, 64), Name = "a" };
        WavefrontFieldRequest Of(params Frame[] frames) => new()
        {
            Frames = frames,
            ApertureMm = 100,
            FocalLengthMm = 600,
            WavelengthNm = 540,
            PitchUm = 4,
        };
        Assert.Throws<InputException>(() => WavefrontFieldMeasurement.Measure(Of(frame), RunContext.Default));
        Assert.Contains("very same pixels", Assert.Throws<CannotMeasureException>(() =>
            WavefrontFieldMeasurement.Measure(Of(frame, frame), RunContext.Default)).Message, StringComparison.Ordinal);
    }
}
