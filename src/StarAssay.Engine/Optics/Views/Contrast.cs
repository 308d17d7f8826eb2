using System.Numerics;
using MathNet.Numerics;
using MathNet.Numerics.RootFinding;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics.Views;

/// <summary>What a telescope's contrast is asked for.</summary>
public sealed record ContrastRequest
{
    /// <summary>The pupil; its wavelength counts where no others are given.</summary>
    public required PupilMap Map { get; init; }

    /// <summary>Aperture, mm.</summary>
    public required double ApertureMm { get; init; }

    /// <summary>Sizes of detail, arcsec from one bright line to the next.</summary>
    public required IReadOnlyList<double> DetailArcsec { get; init; }

    /// <summary>Wavelengths that the light consists of, nm; empty = that of the map.</summary>
    public IReadOnlyList<double> WavelengthsNm { get; init; } = [];

    /// <summary>Their shares.</summary>
    public IReadOnlyList<double> Weights { get; init; } = [];

    /// <summary>Best focus at each of them, um, positive away from the objective.</summary>
    public IReadOnlyList<double> FocusUm { get; init; } = [];
}

/// <summary>Contrast at each detail, and what two stars need to be told apart.</summary>
/// <param name="DetailArcsec">Arcsec from one bright line to the next.</param>
/// <param name="Contrast">Modulus of the transfer function there, mean over directions.</param>
/// <param name="LeastContrast">That in the worst direction.</param>
/// <param name="ClearContrast">That of a perfect clear aperture of the same diameter.</param>
/// <param name="ObstructedContrast">That of a perfect aperture with the same obstruction.</param>
/// <param name="EquivalentApertureMm">Diameter of the perfect clear aperture with the same contrast.</param>
/// <param name="CenterRatio">Light in the middle of a star's image over that of the perfect aperture with the same obstruction.</param>
/// <param name="SensorUm">Where the screen stood: the brightest middle of the image.</param>
/// <param name="MeanWavelengthNm">By the light.</param>
/// <param name="RayleighArcsec">Rayleigh's separation of a perfect clear aperture: to its first dark ring.</param>
/// <param name="SparrowArcsec">Sparrow's of the same: the saddle between two equal stars just vanishes.</param>
/// <param name="DawesArcsec">Dawes' rule, 116 mm arcsec over the aperture.</param>
/// <param name="OwnRayleighArcsec">Separation at which this telescope shows two equal stars with the saddle of Rayleigh's criterion; NaN where its
/// image shows none.</param>
/// <param name="OwnSparrowArcsec">Separation at which the saddle vanishes here.</param>
public sealed record ContrastCurves(double[] DetailArcsec, double[] Contrast, double[] LeastContrast, double[] ClearContrast,
    double[] ObstructedContrast, double[] EquivalentApertureMm, double CenterRatio, double SensorUm, double MeanWavelengthNm, double RayleighArcsec,
    double SparrowArcsec, double DawesArcsec, double OwnRayleighArcsec, double OwnSparrowArcsec);

/// <summary>Contrast against a perfect aperture of the same and of a smaller diameter, for light of one color or of many.</summary>
/// <remarks>
/// The transfer functions of the colors add as complex numbers at the same frequency on the sky, each at its own defocus. A detail of d arcsec is the
/// frequency 1/d; the cutoff of an aperture D is D / wavelength. Rayleigh 1879; Dawes 1867 and Sparrow 1916 from memory.
/// </remarks>
public static class Contrasts
{
    private const double ArcsecPerRadian = 180 * 3600 / Math.PI;
    private const double DawesMmArcsec = 116;
    private const int Angles = 64, Radii = 160;

    /// <summary>Computes it.</summary>
    public static ContrastCurves Compute(ContrastRequest request, RunContext context)
    {
        request.Map.RequireValid();
        InputException.RequireRange(request.ApertureMm, 1, 50_000, "aperture", "mm");
        foreach (double detail in request.DetailArcsec)
        {
            InputException.RequireRange(detail, 1e-4, 36_000, "details", "arcsec");
        }

        ViewLight light = ViewLight.Of(request.Map, request.WavelengthsNm, request.Weights, request.FocusUm);
        double aperture = request.ApertureMm;
        double sensor = light.BestFocus(request.Map);
        Colors own = Colors.Of(request.Map, light, sensor, aperture, context.Cancel);
        Colors perfect = Colors.Of(request.Map.Perfect(), light with { FocusUm = [.. light.FocusUm.Select(_ => sensor)] }, sensor, aperture, context.Cancel);
        double[] frequency = [.. request.DetailArcsec.Select(d => 1 / d)];
        (double Mean, double Least)[] contrast = [.. frequency.Select(f => own.Contrast(f))];
        double Clear(double f, double mm) => light.Mean(nm => Airy.Mtf(f * ArcsecPerRadian * nm * 1e-6 / mm));
        double[] equivalent = [.. contrast.Select((c, i) => Equivalent(c.Mean, mm => Clear(frequency[i], mm), aperture))];
        double mean = light.Mean(nm => nm);
        double unit = mean * 1e-6 / aperture * ArcsecPerRadian;
        var ideal = new Image(f => Clear(f, aperture), own.Cutoff);
        var image = new Image(f => own.Round(f), own.Cutoff);
        double rayleigh = Airy.DarkRing(1) * unit, saddle = ideal.Saddle(rayleigh);
        return new ContrastCurves([.. request.DetailArcsec], [.. contrast.Select(c => c.Mean)], [.. contrast.Select(c => c.Least)],
            [.. frequency.Select(f => Clear(f, aperture))], [.. frequency.Select(f => perfect.Contrast(f).Mean)], equivalent,
            image.At(0) / new Image(f => perfect.Round(f), own.Cutoff).At(0), sensor, mean, rayleigh, ideal.Sparrow(unit), DawesMmArcsec / aperture,
            image.Separation(saddle, unit), image.Sparrow(unit));
    }

    // The smallest perfect clear aperture with that contrast. A large obstruction lifts fine detail above that of the clear aperture: then it is larger
    // than the telescope.
    private static double Equivalent(double contrast, Func<double, double> clear, double aperture)
    {
        double most = 4 * aperture;
        return contrast <= 0 || clear(most) <= contrast ? double.NaN : Brent.FindRoot(mm => clear(mm) - contrast, 1e-6 * aperture, most, 1e-9 * aperture, 200);
    }

    /// <summary>Transfer functions of all colors, by frequency on the sky.</summary>
    private sealed record Colors((TransferFunction Transfer, double Share, double Cutoff)[] Parts)
    {
        /// <summary>Highest frequency that anything is transferred at, cycles per arcsec.</summary>
        public double Cutoff => Parts.Max(p => p.Cutoff);

        public static Colors Of(PupilMap map, ViewLight light, double sensorUm, double apertureMm, CancellationToken cancel) => new(
            [.. light.WavelengthsNm.Select((nm, k) =>
            {
                cancel.ThrowIfCancellationRequested();
                return (TransferFunction.Of(map with { WavelengthNm = nm }, sensorUm - light.FocusUm[k]), light.Shares[k],
                    apertureMm / (nm * 1e-6 * ArcsecPerRadian));
            })]);

        /// <summary>Modulus at a frequency: mean over directions, and the least.</summary>
        public (double Mean, double Least) Contrast(double frequency)
        {
            double[] all = [.. Enumerable.Range(0, Angles).Select(a => Value(frequency, a).Magnitude)];
            return (all.Average(), all.Min());
        }

        /// <summary>Mean over directions of the value itself, which is that of the image averaged over directions.</summary>
        public double Round(double frequency) => Enumerable.Range(0, Angles).Average(a => Value(frequency, a).Real);

        private Complex Value(double frequency, int angle)
        {
            (double s, double c) = Math.SinCos(Math.PI * (angle + 0.5) / Angles);
            Complex sum = Complex.Zero;
            foreach ((TransferFunction transfer, double share, double cutoff) in Parts)
            {
                double shift = transfer.Samples * frequency / cutoff;
                sum += share * transfer.Between(shift * c, shift * s);
            }

            return sum;
        }
    }

    /// <summary>The image of a star averaged over directions, from its transfer function: light over radius in arcsec.</summary>
    private sealed class Image
    {
        private readonly double[] frequency;
        private readonly double[] value;
        private readonly double step;

        public Image(Func<double, double> transfer, double cutoff)
        {
            step = cutoff / Radii;
            frequency = [.. Enumerable.Range(0, Radii).Select(i => (i + 0.5) * step)];
            value = [.. frequency.Select(transfer)];
        }

        /// <summary>Light at a radius: the Hankel transform.</summary>
        public double At(double radius) => 2 * Math.PI * step
            * frequency.Select((f, i) => value[i] * SpecialFunctions.BesselJ(0, 2 * Math.PI * f * radius) * f).Sum();

        /// <summary>Light half way between two equal stars over that of the brighter one.</summary>
        public double Saddle(double separation) => 2 * At(separation / 2) / (At(0) + At(separation));

        /// <summary>Separation at which the saddle vanishes: where the image bends from hollow to bulging, twice its radius.</summary>
        public double Sparrow(double unit) => First(s =>
        {
            double h = 0.01 * unit;
            return At((s / 2) + h) - (2 * At(s / 2)) + At((s / 2) - h);
        }, unit);

        /// <summary>Smallest separation with a saddle as deep.</summary>
        public double Separation(double saddle, double unit)
        {
            double from = Sparrow(unit);
            return double.IsNaN(from) ? double.NaN : First(s => saddle - Saddle(s), unit, from);
        }

        // First place where it rises through zero.
        private static double First(Func<double, double> of, double unit, double from = 0)
        {
            double step = 0.05 * unit, before = from + step;
            for (double at = before + step; at < from + (6 * unit); at += step)
            {
                if (of(before) < 0 && of(at) >= 0)
                {
                    return Brent.FindRoot(of, before, at, 1e-9 * unit, 200);
                }

                before = at;
            }

            return double.NaN;
        }
    }
}
