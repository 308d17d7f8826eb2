using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.Wavefront.SecondOpinion;

/// <summary>
/// Test functions for moments of a defocused image: Zernike polynomials in disc coordinates, continued beyond the
/// disc and faded out between 1.15 and 1.6 radii, so that distant background counts nothing.
/// </summary>
/// <remarks>A moment of an image blurred by a round kernel is the moment of the sharp image with blurred test
/// functions; blurring keeps a function's angular part, so each needs only one radial table.</remarks>
internal sealed class MomentBasis
{
    /// <summary>Nothing beyond this radius counts.</summary>
    public const double Reach = 1.6;

    private const double FadeFrom = 1.15;
    private const int Steps = 800;
    private const int Rings = 12;

    private static readonly Lazy<double[]> RingRadius = new(() =>
        [.. Enumerable.Range(0, Rings).Select(i => Seeing.EncircledRadius((i + 0.5) / Rings) / Seeing.FwhmFactor)]);

    private readonly double tableReach;
    private readonly double[] fade;
    private readonly double[][] radial;
    private readonly int[] frequency;
    private readonly bool[] sine;
    private readonly int highest;

    /// <summary>Prepares tables.</summary>
    /// <param name="modes">Which polynomials.</param>
    /// <param name="fwhm">Full width at half maximum of the blur (Kolmogorov's long exposure) in disc radii, 0 for none.</param>
    public MomentBasis(IReadOnlyList<ZernikeIndex> modes, double fwhm)
    {
        tableReach = Reach + (2 * fwhm);
        (double X, double Y)[] kernel = Kernel(fwhm);
        fade = Table(kernel, (x, y) => 1);
        var known = new Dictionary<(int, int), double[]>();
        radial = new double[modes.Count][];
        for (int j = 0; j < modes.Count; j++)
        {
            var cosine = new ZernikeIndex(modes[j].N, modes[j].Frequency);
            if (!known.TryGetValue((cosine.N, cosine.M), out double[]? table))
            {
                table = Table(kernel, (x, y) => Zernike.Evaluate(cosine, x, y));
                known.Add((cosine.N, cosine.M), table);
            }

            radial[j] = table;
        }

        frequency = [.. modes.Select(z => z.Frequency)];
        sine = [.. modes.Select(z => z.M < 0)];
        highest = frequency.Max();
    }

    /// <summary>Number of test functions.</summary>
    public int Count => radial.Length;

    /// <summary>Weight without polynomial: 1 on the disc, 0 far out.</summary>
    public double Fade(double x, double y) => Lookup(fade, Math.Sqrt((x * x) + (y * y)));

    /// <summary>Values of all test functions at a point in disc coordinates.</summary>
    public void Evaluate(double x, double y, Span<double> values)
    {
        double r = Math.Sqrt((x * x) + (y * y));
        if (r >= tableReach)
        {
            values.Clear();
            return;
        }

        double c = r > 0 ? x / r : 1;
        double s = r > 0 ? y / r : 0;
        Span<double> cosines = stackalloc double[highest + 1];
        Span<double> sines = stackalloc double[highest + 1];
        cosines[0] = 1;
        sines[0] = 0;
        for (int m = 1; m <= highest; m++)
        {
            cosines[m] = (cosines[m - 1] * c) - (sines[m - 1] * s);
            sines[m] = (sines[m - 1] * c) + (cosines[m - 1] * s);
        }

        for (int j = 0; j < radial.Length; j++)
        {
            values[j] = Lookup(radial[j], r) * (sine[j] ? sines[frequency[j]] : cosines[frequency[j]]);
        }
    }

    private static double FadeAt(double r)
    {
        double t = Math.Clamp((r - FadeFrom) / (Reach - FadeFrom), 0, 1);
        return 1 - (t * t * (3 - (2 * t)));
    }

    // Points of equal weight that stand for the long-exposure image of a point: rings that hold equal shares of its light, each
    // eight spokes. Its wings matter, so a Gaussian of the same width will not do.
    private static (double X, double Y)[] Kernel(double fwhm)
    {
        if (fwhm <= 0)
        {
            return [(0, 0)];
        }

        const int Spokes = 8;
        return
        [
            .. from ring in Enumerable.Range(0, Rings)
               let r = fwhm * RingRadius.Value[ring]
               from spoke in Enumerable.Range(0, Spokes)
               let angle = (spoke + (0.5 * (ring & 1))) * 2 * Math.PI / Spokes
               select (r * Math.Cos(angle), r * Math.Sin(angle)),
        ];
    }

    private double[] Table((double X, double Y)[] kernel, Func<double, double, double> function)
    {
        double[] table = new double[Steps + 2];
        for (int i = 0; i < table.Length; i++)
        {
            double r = tableReach * i / Steps;
            foreach ((double dx, double dy) in kernel)
            {
                double x = r + dx;
                double f = FadeAt(Math.Sqrt((x * x) + (dy * dy)));
                table[i] += f == 0 ? 0 : f * function(x, dy) / kernel.Length;
            }
        }

        return table;
    }

    private double Lookup(double[] table, double r)
    {
        double t = r * Steps / tableReach;
        if (t >= Steps)
        {
            return 0;
        }

        int i = (int)t;
        return table[i] + ((t - i) * (table[i + 1] - table[i]));
    }
}
