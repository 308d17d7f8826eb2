using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.Views;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>Drawn targets against closed forms, and the same bits for any number of threads.</summary>
public sealed class TargetViewsTests
{
    private const double UnitArcsec = 550e-6 / 100 * 648_000 / Math.PI;

    [Fact]
    public void RayleighsSeparationHasTheSaddleOfBornAndWolf()
    {
        // Born and Wolf, 8.6.2: 0.735 of the tops at 1.22 wavelength / D.
        TargetView view = Draw(PupilShape.Clear, [0], new DoubleStar(1.219670 * UnitArcsec, 0, 20)).DoubleStar!;
        Assert.Equal(["dip", "star_top", "brighter_at_fainter", "tops_apart"], view.Names);
        Assert.Equal(0.265, view.Numbers[0, 2], 5e-4);
        Assert.Equal(0, view.Numbers[2, 2], 1e-4);
    }

    [Fact]
    public void EdgeThroughSeeing()
    {
        // Clear aperture and Kolmogorov's long exposure (Fried 1966; 3.44 is [(24/5) Gamma(6/5)]^(5/6)): 1/2 - the integral of
        // T(f) sin(2 pi f x) / (pi f), by Simpson's rule.
        TargetView view = Draw(PupilShape.Clear, [4], null).Edge!;
        double r0 = 0.975863 * 550e-9 / (4 * Math.PI / 648_000);
        for (int k = 0; k < 3; k++)
        {
            double x = new[] { 2, 5, 10 }[k] / UnitArcsec;
            double Value(double v) => v == 0 ? 2 * x
                : 2 / Math.PI * (Math.Acos(v) - (v * Math.Sqrt(1 - (v * v)))) * Math.Exp(-3.441939 * Math.Pow(v * 0.1 / r0, 5.0 / 3))
                    * Math.Sin(2 * Math.PI * v * x) / (Math.PI * v);
            const int Steps = 4000;
            double sum = Enumerable.Range(0, Steps + 1).Sum(i => Value(i / (double)Steps) * (i is 0 or Steps ? 1 : i % 2 == 1 ? 4 : 2));
            Assert.Equal(0.5 - (sum / (3 * Steps)), view.Numbers[2 + k, 2], 2e-5);
        }
    }

    [Fact]
    [Trait("Compares", "bits")]
    public void ThreadsChangeNoBit()
    {
        TargetViewsResult[] drawn = [.. new[] { 1, 3 }.Select(threads => TargetViews.Draw(Asked(PupilShape.Clear with { Obstruction = 0.3 }, [1],
            new DoubleStar(2, 1, 30)), new RunContext(threads)))];
        Assert.Equal(drawn[0].Views[0].DoubleStar!.Own, drawn[1].Views[0].DoubleStar!.Own);
        Assert.Equal(drawn[0].Views[0].DoubleStar!.Numbers, drawn[1].Views[0].DoubleStar!.Numbers);
        Assert.Equal(drawn[0].Views[0].Planet!.Own, drawn[1].Views[0].Planet!.Own);
        Assert.Equal(drawn[0].Views[0].Planet!.Numbers, drawn[1].Views[0].Planet!.Numbers);
        Assert.Equal(drawn[0].Views[0].Edge!.Profiles, drawn[1].Views[0].Edge!.Profiles);
    }

    [Fact]
    [Trait("Compares", "bits")]
    public void StarTestGoesWithSinSquaredOnTheAxisForAnyNumberOfThreads()
    {
        // Born and Wolf, 8.8: 4 sin^2(pi W) of the even disc's light in the middle of a defocused clear pupil's image.
        PupilMap map = PupilMap.FromZernike(PupilShape.Clear, [ZernikeIndex.FromNoll(11)], [0.0], 7, 550, 64);
        StarTestResult[] drawn = [.. new[] { 1, 3 }.Select(threads => StarTests.Draw(
            new StarTestRequest { Map = map, ApertureMm = 100, DefocusWaves = 2.5, SeeingArcsec = 0 }, new RunContext(threads)))];
        Assert.Equal(4, drawn[0].Profiles[0, 0], 0.05);
        Assert.Equal(drawn[0].Inside, drawn[1].Inside);
        Assert.Equal(drawn[0].RingContrast, drawn[1].RingContrast);
        Assert.Equal(drawn[0].Profiles, drawn[1].Profiles);
    }

    private static TargetsInOneAir Draw(PupilShape shape, double[] seeing, DoubleStar? stars) =>
        TargetViews.Draw(Asked(shape, seeing, stars) with { Planet = null }, RunContext.Default).Views[0];

    private static TargetViewsRequest Asked(PupilShape shape, double[] seeing, DoubleStar? stars) => new()
    {
        Map = PupilMap.FromZernike(shape, [ZernikeIndex.FromNoll(8)], [20.0], 7, 550, 64),
        ApertureMm = 100,
        SeeingArcsec = seeing,
        DoubleStar = stars,
        Planet = new PlanetDisc(10, 0.05, 0.9, [new Belt(0.3, 0.2, 0.7)], 1, 15),
        EdgeAngleDeg = 45,
    };
}
