using CsCheck;
using MathNet.Numerics.Integration;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>Truth: published index tables and closed forms first, then orthonormality by an exact quadrature.</summary>
public class ZernikeTests
{
    /// <summary>Noll 1976 table I (Noll, n, m) with the OSA/ANSI Z80.28 index beside it; checked against the index table of
    /// J. Eur. Opt. Soc.-Rapid Publ. 2025, 20240062.</summary>
    [Theory]
    [InlineData(1, 0, 0, 0)]
    [InlineData(2, 1, 1, 2)]
    [InlineData(3, 1, -1, 1)]
    [InlineData(4, 2, 0, 4)]
    [InlineData(5, 2, -2, 3)]
    [InlineData(6, 2, 2, 5)]
    [InlineData(7, 3, -1, 7)]
    [InlineData(8, 3, 1, 8)]
    [InlineData(9, 3, -3, 6)]
    [InlineData(10, 3, 3, 9)]
    [InlineData(11, 4, 0, 12)]
    [InlineData(12, 4, 2, 13)]
    [InlineData(13, 4, -2, 11)]
    [InlineData(14, 4, 4, 14)]
    [InlineData(15, 4, -4, 10)]
    [InlineData(22, 6, 0, 24)]
    public void Indices_follow_the_tables(int noll, int n, int m, int osa)
    {
        Assert.Equal(new ZernikeIndex(n, m), ZernikeIndex.FromNoll(noll));
        Assert.Equal(new ZernikeIndex(n, m), ZernikeIndex.FromOsa(osa));
        Assert.Equal(noll, new ZernikeIndex(n, m).Noll);
        Assert.Equal(osa, new ZernikeIndex(n, m).Osa);
    }

    /// <summary>OEIS A176988: Noll indices in rows of n, m from -n to n.</summary>
    [Fact]
    public void Noll_rows_follow_the_integer_sequence()
    {
        int[] expected = [1, 3, 2, 5, 4, 6, 9, 7, 8, 10, 15, 13, 11, 12, 14, 21, 19, 17, 16, 18, 20];
        Assert.Equal(expected, Enumerable.Range(0, 21).Select(osa => ZernikeIndex.FromOsa(osa).Noll));
    }

    /// <summary>OEIS A375510: fringe indices in rows of n, m from -n to n.</summary>
    [Fact]
    public void Fringe_rows_follow_the_integer_sequence()
    {
        int[] expected = [1, 3, 2, 6, 4, 5, 11, 8, 7, 10, 18, 13, 9, 12, 17];
        Assert.Equal(expected, Enumerable.Range(0, 15).Select(osa => ZernikeIndex.FromOsa(osa).Fringe));
    }

    [Fact]
    public void Indices_are_one_to_one_to_five_hundred()
    {
        for (int j = 0; j <= 500; j++)
        {
            Assert.Equal(j, ZernikeIndex.FromOsa(j).Osa);
            Assert.Equal(j + 1, ZernikeIndex.FromNoll(j + 1).Noll);
            ZernikeIndex.FromNoll(j + 1).RequireValid();
        }
    }

    /// <summary>Closed forms of Noll 1976 table I.</summary>
    [Fact]
    public void Polynomials_follow_their_closed_forms()
    {
        const double R = 0.73;
        const double T = 0.41;
        double x = R * Math.Cos(T);
        double y = R * Math.Sin(T);
        double Z(int noll) => Zernike.Evaluate(ZernikeIndex.FromNoll(noll), x, y);
        Assert.Equal(2 * R * Math.Sin(T), Z(3), 1e-14);
        Assert.Equal(Math.Sqrt(3) * ((2 * R * R) - 1), Z(4), 1e-14);
        Assert.Equal(Math.Sqrt(6) * R * R * Math.Sin(2 * T), Z(5), 1e-14);
        Assert.Equal(Math.Sqrt(8) * ((3 * R * R * R) - (2 * R)) * Math.Cos(T), Z(8), 1e-14);
        Assert.Equal(Math.Sqrt(8) * R * R * R * Math.Sin(3 * T), Z(9), 1e-14);
        Assert.Equal(Math.Sqrt(5) * ((6 * Math.Pow(R, 4)) - (6 * R * R) + 1), Z(11), 1e-14);
        Assert.Equal(Math.Sqrt(10) * ((4 * Math.Pow(R, 4)) - (3 * R * R)) * Math.Cos(2 * T), Z(12), 1e-14);
        Assert.Equal(Math.Sqrt(7) * ((20 * Math.Pow(R, 6)) - (30 * Math.Pow(R, 4)) + (12 * R * R) - 1), Z(22), 1e-14);
    }

    /// <summary>Orthonormality (Noll 1976; ISO 24157) by a rule that is exact for these degrees.</summary>
    [Fact]
    public void Circle_polynomials_are_orthonormal_to_high_order()
    {
        ZernikeIndex[] some = [.. Enumerable.Range(0, 66).Select(ZernikeIndex.FromOsa), new(40, 0), new(40, 2), new(41, -7)];
        for (int a = 0; a < some.Length; a++)
        {
            for (int b = a; b < some.Length; b++)
            {
                double mean = RingMean(0, (x, y) => Zernike.Evaluate(some[a], x, y) * Zernike.Evaluate(some[b], x, y));
                Assert.Equal(a == b ? 1 : 0, mean, 1e-11);
            }
        }
    }

    [Theory]
    [InlineData(0.0)]
    [InlineData(0.2)]
    [InlineData(0.33)]
    [InlineData(0.6)]
    public void Annular_polynomials_are_orthonormal(double e)
    {
        var annulus = new ZernikeAnnulus(e, 8);
        ZernikeIndex[] some = [.. Enumerable.Range(0, 45).Select(ZernikeIndex.FromOsa)];
        for (int a = 0; a < some.Length; a++)
        {
            for (int b = a; b < some.Length; b++)
            {
                double mean = RingMean(e, (x, y) => annulus.Evaluate(some[a], x, y) * annulus.Evaluate(some[b], x, y));
                Assert.Equal(a == b ? 1 : 0, mean, 1e-10);
            }
        }
    }

    /// <summary>Mahajan 1981, closed forms of the annular polynomials.</summary>
    [Fact]
    public void Annular_polynomials_follow_Mahajan()
    {
        const double E = 0.33;
        const double E2 = E * E;
        const double E4 = E2 * E2;
        const double R = 0.61;
        const double T = 1.1;
        double x = R * Math.Cos(T);
        double y = R * Math.Sin(T);
        var annulus = new ZernikeAnnulus(E, 4);
        double Z(int noll) => annulus.Evaluate(ZernikeIndex.FromNoll(noll), x, y);
        Assert.Equal(2 * R * Math.Cos(T) / Math.Sqrt(1 + E2), Z(2), 1e-13);
        Assert.Equal(Math.Sqrt(3) * ((2 * R * R) - 1 - E2) / (1 - E2), Z(4), 1e-13);
        Assert.Equal(Math.Sqrt(6) * R * R * Math.Cos(2 * T) / Math.Sqrt(1 + E2 + E4), Z(6), 1e-13);
        double coma = Math.Sqrt(8) * ((3 * (1 + E2) * R * R * R) - (2 * (1 + E2 + E4) * R)) * Math.Cos(T)
            / ((1 - E2) * Math.Sqrt((1 + E2) * (1 + (4 * E2) + E4)));
        Assert.Equal(coma, Z(8), 1e-13);
        double spherical = Math.Sqrt(5) * ((6 * Math.Pow(R, 4)) - (6 * (1 + E2) * R * R) + 1 + (4 * E2) + E4) / ((1 - E2) * (1 - E2));
        Assert.Equal(spherical, Z(11), 1e-13);
    }

    [Fact]
    public void No_obstruction_gives_the_circle_polynomials()
    {
        var annulus = new ZernikeAnnulus(0, 9);
        Gen.Select(Gen.Int[0, 54], Gen.Double[-0.7, 0.7], Gen.Double[-0.7, 0.7]).Sample((osa, x, y) =>
        {
            ZernikeIndex index = ZernikeIndex.FromOsa(osa);
            Assert.Equal(Zernike.Evaluate(index, x, y), annulus.Evaluate(index, x, y), 1e-10);
        });
    }

    /// <summary>PV of one unit RMS: check-value table after Noll's normalisation, by dense sampling of the disc.</summary>
    [Theory]
    [InlineData(2, 4)]
    [InlineData(4, 3.4641)]
    [InlineData(6, 4.8990)]
    [InlineData(8, 5.6569)]
    [InlineData(10, 5.6569)]
    [InlineData(11, 3.3541)]
    [InlineData(12, 6.3246)]
    [InlineData(14, 6.3246)]
    public void Peak_to_valley_of_one_unit(int noll, double expected)
    {
        double low = double.MaxValue;
        double high = double.MinValue;
        for (int a = 0; a <= 200; a++)
        {
            for (int b = 0; b < 240; b++)
            {
                double t = b * Math.PI / 120;
                double z = Zernike.Evaluate(ZernikeIndex.FromNoll(noll), a / 200.0 * Math.Cos(t), a / 200.0 * Math.Sin(t));
                low = Math.Min(low, z);
                high = Math.Max(high, z);
            }
        }

        Assert.Equal(expected, high - low, 1e-3);
    }

    [Fact]
    public void Rotation_turns_the_wavefront()
    {
        ZernikeIndex[] all = [.. Enumerable.Range(0, 28).Select(ZernikeIndex.FromOsa)];
        Gen.Select(Gen.Double[-1, 1].Array[28], Gen.Double[-3, 3], Gen.Double[-0.7, 0.7], Gen.Double[-0.7, 0.7]).Sample((c, angle, x, y) =>
        {
            double[] turned = Zernike.Rotate(all, c, angle);
            (double s, double k) = Math.SinCos(-angle);
            Assert.Equal(Zernike.Sum(all, c, (k * x) - (s * y), (s * x) + (k * y)), Zernike.Sum(all, turned, x, y), 1e-11);
        });
    }

    private static double RingMean(double e, Func<double, double, double> f)
    {
        const int Angles = 128;
        var rule = new GaussLegendreRule(e * e, 1, 48);
        double sum = 0;
        for (int i = 0; i < rule.Order; i++)
        {
            double rho = Math.Sqrt(rule.GetAbscissa(i));
            double ring = 0;
            for (int a = 0; a < Angles; a++)
            {
                (double s, double c) = Math.SinCos(2 * Math.PI * a / Angles);
                ring += f(rho * c, rho * s);
            }

            sum += rule.GetWeight(i) * ring / Angles;
        }

        return sum / (1 - (e * e));
    }
}

/// <summary>Truth: the scalar twin in double precision.</summary>
public class ZernikeRowsTests
{
    [Theory]
    [InlineData(1)]
    [InlineData(15)]
    [InlineData(16)]
    [InlineData(17)]
    [InlineData(1025)]
    public void Rows_follow_the_scalar_twin(int points)
    {
        var random = new Random(points);
        float[] x = [.. Enumerable.Range(0, points).Select(_ => (float)((1.4 * random.NextDouble()) - 0.7))];
        float[] y = [.. Enumerable.Range(0, points).Select(_ => (float)((1.4 * random.NextDouble()) - 0.7))];
        for (int osa = 0; osa < 136; osa++)
        {
            ZernikeIndex mode = ZernikeIndex.FromOsa(osa);
            float[] row = ZernikeRows.Row(mode, x, y);
            for (int p = 0; p < points; p++)
            {
                Assert.Equal(Zernike.Evaluate(mode, x[p], y[p]), row[p], 2e-5);
            }
        }
    }
}
