using System.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics.Views;

/// <summary>
/// A wavefront on a square grid of pupil samples, from which every view is drawn. Sample k lies at
/// rho = (2 k + 1 - n) / n, so the grid's edge is the aperture's edge; x to the right (column), y up (row).
/// </summary>
public sealed record PupilMap
{
    private const int LargestGrid = 1024;

    /// <summary>Wavefront error in nm, positive where the wave is ahead; row y, column x. NaN counts as outside the pupil.</summary>
    public required double[,] WavefrontNm { get; init; }

    /// <summary>Share of each sample that is open, 0 outside the pupil to 1 (rim samples lie between); null = 1 wherever the wavefront is not NaN.</summary>
    public double[,]? Amplitude { get; init; }

    /// <summary>Focal ratio N.</summary>
    public required double FocalRatio { get; init; }

    /// <summary>Wavelength in nm at which the view is drawn; the optical path stays, its number of waves changes.</summary>
    public required double WavelengthNm { get; init; }

    /// <summary>Samples across the pupil.</summary>
    public int Size => WavefrontNm.GetLength(0);

    /// <summary>The map of a sum of circle polynomials.</summary>
    /// <param name="shape">What passes light.</param>
    /// <param name="modes">Which polynomials.</param>
    /// <param name="coefficientsNm">Their coefficients, RMS over the full disc, positive where the wave is ahead.</param>
    /// <param name="focalRatio">Focal ratio N.</param>
    /// <param name="wavelengthNm">Wavelength of the views.</param>
    /// <param name="size">Samples across the pupil.</param>
    public static PupilMap FromZernike(
        PupilShape shape, IReadOnlyList<ZernikeIndex> modes, ReadOnlySpan<double> coefficientsNm, double focalRatio, double wavelengthNm, int size)
    {
        InputException.RequireRange(size, 8, LargestGrid, "samples", "");
        if (modes.Count != coefficientsNm.Length)
        {
            throw new InputException("views.map", $"{modes.Count} modes and {coefficientsNm.Length} coefficients were given; give one for each.",
                "coefficients");
        }

        double[] share = new double[size * size];

        // Sample k of a map lies at (2 k + 1 - n) / n: between two of the raster's where n is even.
        PupilRaster.Draw(shape, size, size, share, size % 2 == 0 ? 0.5 : 0);
        double[,] wavefront = new double[size, size];
        double[,] open = new double[size, size];
        for (int y = 0; y < size; y++)
        {
            double v = ((2 * y) + 1 - size) / (double)size;
            for (int x = 0; x < size; x++)
            {
                double u = ((2 * x) + 1 - size) / (double)size;
                open[y, x] = share[(y * size) + x];
                wavefront[y, x] = open[y, x] > 0 ? Zernike.Sum(modes, coefficientsNm, u, v) : double.NaN;
            }
        }

        PupilMap map = new() { WavefrontNm = wavefront, Amplitude = open, FocalRatio = focalRatio, WavelengthNm = wavelengthNm };
        map.RequireValid();
        return map;
    }

    /// <summary>Throws when the record contradicts itself.</summary>
    public void RequireValid()
    {
        if (Size < 8 || WavefrontNm.GetLength(1) != Size)
        {
            throw new InputException("views.map", $"The wavefront map is {Size} x {WavefrontNm.GetLength(1)}; give a square map of at least 8 x 8.",
                nameof(WavefrontNm));
        }

        if (Amplitude is not null && (Amplitude.GetLength(0) != Size || Amplitude.GetLength(1) != Size))
        {
            throw new InputException("views.map", "Amplitude and wavefront differ in size. Use the pair that one fit returned.", nameof(Amplitude));
        }

        InputException.RequireRange(FocalRatio, 0.5, 200, nameof(FocalRatio), "");
        InputException.RequireRange(WavelengthNm, 100, 30000, nameof(WavelengthNm), "nm");
    }

    /// <summary>The same pupil without aberration: what a perfect telescope of this obstruction would do.</summary>
    public PupilMap Perfect()
    {
        int n = Size;
        double[,] flat = new double[n, n];
        for (int y = 0; y < n; y++)
        {
            for (int x = 0; x < n; x++)
            {
                flat[y, x] = double.IsNaN(WavefrontNm[y, x]) ? double.NaN : 0;
            }
        }

        return this with { WavefrontNm = flat };
    }

    /// <summary>
    /// The same map on a grid fine enough for a screen at <paramref name="shiftUm"/>: a grid of n samples sees n/2
    /// lambda N to either side of the axis, and light that lands farther out would come in again on the other side.
    /// </summary>
    /// <param name="shiftUm">Position of the screen.</param>
    /// <param name="marginLambdaN">Light to be kept beyond the geometric disc, in lambda N.</param>
    internal PupilMap FineEnoughFor(double shiftUm, double marginLambdaN)
    {
        double disc = Math.Abs(shiftUm) / (2 * FocalRatio) / (WavelengthNm * 1e-3 * FocalRatio);
        int factor = (int)Math.Ceiling(2 * (disc + marginLambdaN) / Size);
        if (factor * Size > LargestGrid)
        {
            throw new InputException("views.too-far",
                $"At {shiftUm / 1000:F1} mm from focus the light is too spread out to be drawn. Stay nearer to focus.", "shift");
        }

        return factor <= 1 ? this : Finer(factor);
    }

    /// <summary>
    /// The same map on a finer grid with a circular rim as sharp as that allows. A rim sample that is open by half dims the light of a rim in a
    /// defocused image, where the phase turns fast: 5 % in the middle of the disc at 4.5 waves and 128 samples.
    /// </summary>
    internal PupilMap WithSharpRim(int factor)
    {
        factor = Math.Min(factor, LargestGrid / Size);
        if (factor <= 1)
        {
            return this;
        }

        PupilMap finer = Finer(factor);
        int m = finer.Size;
        double[] circle = new double[m * m];
        PupilRaster.Draw(PupilShape.Clear, m, m, circle, m % 2 == 0 ? 0.5 : 0);
        for (int y = 0; y < m; y++)
        {
            for (int x = 0; x < m; x++)
            {
                int n = Size, j = y / factor, i = x / factor;
                double u = Math.Abs(((2.0 * i) + 1 - n) / n), v = Math.Abs(((2.0 * j) + 1 - n) / n), half = 1.0 / n;
                bool rim = ((u + half) * (u + half)) + ((v + half) * (v + half)) > 1 && AmplitudeAt(j, i) > 0;
                if (rim)
                {
                    finer.Amplitude![y, x] = circle[(y * m) + x];
                }
            }
        }

        return finer;
    }

    /// <summary>Amplitude at a sample; 0 where there is no wavefront.</summary>
    internal double AmplitudeAt(int y, int x) =>
        double.IsNaN(WavefrontNm[y, x]) ? 0 : Amplitude?[y, x] ?? 1;

    /// <summary>
    /// The complex field. A wave that is ahead has lived through less phase at the pupil, so with the time factor
    /// exp(-i w t) the field is A exp(-2 pi i W / lambda). An extra defocus moves the screen by
    /// <paramref name="shiftUm"/> away from the objective.
    /// </summary>
    internal Complex[,] Field(double shiftUm = 0)
    {
        int n = Size;
        var field = new Complex[n, n];

        // A screen beyond the focus sees the rim ahead of the flatter sphere that is centered on it:
        // W = +dz rho^2 / (8 N^2) (Welford, Aberrations of Optical Systems: W020 = dz / (8 N^2); from memory).
        double rim = shiftUm * 1000 / (8 * FocalRatio * FocalRatio);
        for (int y = 0; y < n; y++)
        {
            double v = ((2 * y) + 1 - n) / (double)n;
            for (int x = 0; x < n; x++)
            {
                double a = AmplitudeAt(y, x);
                if (a > 0)
                {
                    double u = ((2 * x) + 1 - n) / (double)n;
                    double w = WavefrontNm[y, x] + (rim * ((u * u) + (v * v)));
                    field[y, x] = Complex.FromPolarCoordinates(a, -2 * Math.PI * w / WavelengthNm);
                }
            }
        }

        return field;
    }

    // Straight lines between samples, samples outside the pupil left out; each sample's open share stays its own.
    private PupilMap Finer(int factor)
    {
        int n = Size;
        int m = n * factor;
        double[,] wavefront = new double[m, m];
        double[,] open = new double[m, m];
        for (int y = 0; y < m; y++)
        {
            for (int x = 0; x < m; x++)
            {
                open[y, x] = AmplitudeAt(y / factor, x / factor);
                wavefront[y, x] = open[y, x] > 0 ? Between(((y + 0.5) / factor) - 0.5, ((x + 0.5) / factor) - 0.5) : double.NaN;
            }
        }

        return this with { WavefrontNm = wavefront, Amplitude = open };
    }

    private double Between(double y, double x)
    {
        double sum = 0;
        double weight = 0;
        for (int j = (int)Math.Floor(y); j <= (int)Math.Floor(y) + 1; j++)
        {
            for (int i = (int)Math.Floor(x); i <= (int)Math.Floor(x) + 1; i++)
            {
                double share = (1 - Math.Abs(y - j)) * (1 - Math.Abs(x - i));
                if (share > 0 && j >= 0 && i >= 0 && j < Size && i < Size && !double.IsNaN(WavefrontNm[j, i]))
                {
                    sum += share * WavefrontNm[j, i];
                    weight += share;
                }
            }
        }

        return sum / weight;
    }
}
