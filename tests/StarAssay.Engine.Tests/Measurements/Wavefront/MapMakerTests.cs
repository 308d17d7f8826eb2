using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Tests.Measurements.Wavefront;

/// <summary>Figures of a map whose coefficients are given.</summary>
public class MapMakerTests
{
    private static readonly FitModes Modes = new(0, 22, 45);

    private static MapFigures Figures(double[] c, double variance, double photons, UnseenPower unseen = default) =>
        new MapMaker(PupilShape.Clear, Modes, c.Length, 96).Figures(
            c, Matrix<double>.Build.DenseDiagonal(c.Length, c.Length, variance), Matrix<double>.Build.DenseDiagonal(c.Length, c.Length, photons), unseen, 540);

    private static double[] Spherical(double nm)
    {
        double[] c = new double[18];
        c[11 - 5] = nm;
        return c;
    }

    /// <summary>A worse model has wider bars; it must not give a better Strehl ratio.</summary>
    [Fact]
    public void OnlyThePhotonsNoiseIsGivenBack()
    {
        MapFigures sure = Figures(Spherical(30), 0.01, 0.01);
        MapFigures unsure = Figures(Spherical(30), 25, 0.01);
        Assert.Equal(sure.Strehl.Value, unsure.Strehl.Value, 1e-12);
        Assert.Equal(sure.Rms.Value, unsure.Rms.Value, 1e-12);
        Assert.True(unsure.Strehl.Uncertainty > 10 * sure.Strehl.Uncertainty);

        // 18 modes, orthonormal but for the raster's rim, with 0.1 nm of noise each: 0.18 nm^2 of power.
        double raw = Figures(Spherical(30), 0.01, 0).Rms.Value;
        Assert.Equal(0.18, (raw * raw) - (sure.Rms.Value * sure.Rms.Value), 0.002);
    }

    /// <summary>At low light noise makes most of the map's power: 5 nm of spherical aberration under 18 modes with 1 nm of noise each. E[c'Gc] = c'Gc + tr(GC),
    /// so the squares come out right in the mean, and the Strehl ratio with them; without giving back they are 18 nm^2 and 0.0024 off.</summary>
    [Fact]
    public void LowLightRaisesNeitherRmsNorLowersStrehlInTheMean()
    {
        const int Draws = 200;
        var map = new MapMaker(PupilShape.Clear, Modes, 18, 24);
        Matrix<double> noise = Matrix<double>.Build.DenseIdentity(18);
        Matrix<double> none = Matrix<double>.Build.DenseDiagonal(18, 18, 1e-9);
        MapFigures truth = map.Figures(Spherical(5), none, none, default, 540);
        var random = new MathNet.Numerics.Distributions.Normal(0, 1, new Random(11));
        double power = 0;
        double strehl = 0;
        for (int d = 0; d < Draws; d++)
        {
            double[] c = [.. Spherical(5).Select(v => v + random.Sample())];
            MapFigures figures = map.Figures(c, noise, noise, default, 540);
            power += figures.Rms.Value * figures.Rms.Value / Draws;
            strehl += figures.Strehl.Value / Draws;
        }

        // Scatter of a draw: sqrt(4 x 25 + 2 x 18) = 11.7 nm^2; three standard errors of the mean of 200.
        Assert.Equal(truth.Rms.Value * truth.Rms.Value, power, 2.5);
        Assert.Equal(truth.Strehl.Value, strehl, 2.5 * Math.Pow(2 * Math.PI / 540, 2));
    }

    /// <summary>Z11 = sqrt(5) (6 r^4 - 6 r^2 + 1), focus taken out by its own orthogonality: sqrt(5) at the middle and the rim, -sqrt(5)/2 between.</summary>
    [Fact]
    public void PeakToValleyReachesTheRim()
    {
        Assert.Equal(1.5 * Math.Sqrt(5) * 30, Figures(Spherical(30), 1e-8, 1e-8).Pv.Value, 0.02);

        // Coma, sqrt(8) (3 r^3 - 2 r) cos t, is steepest at the rim: sqrt(8) and -sqrt(8) there (tilt is orthogonal to it).
        double[] coma = new double[18];
        coma[8 - 5] = 30;
        Assert.Equal(2 * Math.Sqrt(8) * 30, Figures(coma, 1e-8, 1e-8).Pv.Value, 0.05);
    }

    /// <summary>Power that is not in the map adds to the square of the RMS, and lowers the Strehl ratio as Mahajan's exponential has it.</summary>
    [Fact]
    public void UnseenPowerCountsOnOneSide()
    {
        var unseen = new UnseenPower(200);
        MapFigures without = Figures(Spherical(30), 0.01, 0);
        MapFigures with = Figures(Spherical(30), 0.01, 0, unseen);
        Assert.Equal(Math.Sqrt((without.Rms.Value * without.Rms.Value) + 100), with.Rms.Value, 1e-9);
        double k2 = Math.Pow(2 * Math.PI / 540, 2);
        Assert.Equal(without.Strehl.Value * Math.Exp(-100 * k2), with.Strehl.Value, 1e-9);
        Assert.True(with.Strehl.Value + (1.74 * with.Strehl.Uncertainty) > without.Strehl.Value); // nothing unseen lies sqrt(3) bars away
        Assert.Equal(without.Pv.Value, with.Pv.Value);
    }
}
