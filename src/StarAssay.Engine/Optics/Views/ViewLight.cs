using System.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics.Views;

/// <summary>What a view is drawn with: wavelengths with shares that sum to 1, and best focus at each.</summary>
/// <param name="WavelengthsNm">nm.</param>
/// <param name="Shares">Of the light, sum 1.</param>
/// <param name="FocusUm">Best focus, um, positive away from the objective.</param>
internal sealed record ViewLight(double[] WavelengthsNm, double[] Shares, double[] FocusUm)
{
    private const int FocusSteps = 41;

    /// <summary>From what was given; the map's wavelength alone where nothing was.</summary>
    /// <exception cref="InputException">The lists do not belong together.</exception>
    public static ViewLight Of(PupilMap map, IReadOnlyList<double> wavelengthsNm, IReadOnlyList<double> given, IReadOnlyList<double> focusUm)
    {
        double[] waves = wavelengthsNm.Count > 0 ? [.. wavelengthsNm] : [map.WavelengthNm];
        double[] weights = given.Count > 0 ? [.. given] : [.. waves.Select(_ => 1.0)];
        double[] focus = focusUm.Count > 0 ? [.. focusUm] : [.. waves.Select(_ => 0.0)];
        if (weights.Length != waves.Length || focus.Length != waves.Length || waves.Any(nm => !(nm is >= 100 and <= 30_000))
            || weights.Any(w => !(w >= 0)) || !(weights.Sum() > 0) || focus.Any(f => !double.IsFinite(f)))
        {
            throw new InputException("views.light",
                $"{waves.Length} wavelengths, {weights.Length} shares and {focus.Length} places of focus were given; give one of each, shares not "
                + "below 0.", "colors");
        }

        return new ViewLight(waves, [.. weights.Select(w => w / weights.Sum())], focus);
    }

    /// <summary>Mean over the light of a value of the wavelength.</summary>
    public double Mean(Func<double, double> value) => Mean((nm, _) => value(nm));

    /// <summary>Mean over the light of a value of the wavelength and its number.</summary>
    public double Mean(Func<double, int, double> value) => WavelengthsNm.Select((nm, k) => Shares[k] == 0 ? 0 : Shares[k] * value(nm, k)).Sum();

    /// <summary>Place of the screen where a star's middle is brightest: each color's amplitude there is the pupil's mean.</summary>
    public double BestFocus(PupilMap map)
    {
        if (FocusUm.Distinct().Count() == 1)
        {
            return FocusUm[0];
        }

        double low = FocusUm.Min(), high = FocusUm.Max();
        (double Rho2, Complex Sum)[][] rings = [.. WavelengthsNm.Select(nm => Rings(map with { WavelengthNm = nm }))];
        double Middle(double sensor) => Mean((nm, k) =>
        {
            Complex sum = Complex.Zero;
            double rim = (sensor - FocusUm[k]) * 1000 / (8 * map.FocalRatio * map.FocalRatio);
            foreach ((double rho2, Complex field) in rings[k])
            {
                sum += field * Complex.FromPolarCoordinates(1, -2 * Math.PI * rim * rho2 / nm);
            }

            return sum.Magnitude * sum.Magnitude / (nm * nm);
        });
        double step = (high - low) / (FocusSteps - 1);
        double[] tried = [.. Enumerable.Range(0, FocusSteps).Select(i => low + (i * step))];
        double[] bright = [.. tried.Select(Middle)];
        int best = Array.IndexOf(bright, bright.Max());
        if (best == 0 || best == FocusSteps - 1)
        {
            return tried[best];
        }

        // The top of the parabola through the three best.
        double bend = bright[best - 1] - (2 * bright[best]) + bright[best + 1];
        return tried[best] + (bend < 0 ? 0.5 * step * (bright[best - 1] - bright[best + 1]) / bend : 0);
    }

    // The field in focus, summed over the samples at each distance from the axis: defocus is the same for all of them.
    private static (double Rho2, Complex Sum)[] Rings(PupilMap map)
    {
        int n = map.Size;
        Complex[,] field = map.Field();
        var sums = new Complex[(2 * n * n) + 1];
        bool[] open = new bool[sums.Length];
        foreach ((int y, int x) in FocusedImages.Grid(n))
        {
            int u = (2 * x) + 1 - n, v = (2 * y) + 1 - n, r2 = (u * u) + (v * v);
            sums[r2] += field[y, x];
            open[r2] = true;
        }

        return [.. Enumerable.Range(0, sums.Length).Where(r2 => open[r2]).Select(r2 => (r2 / ((double)n * n), sums[r2]))];
    }
}
