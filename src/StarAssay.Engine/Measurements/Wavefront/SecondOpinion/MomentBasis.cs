using System.Numerics;
using System.Runtime.InteropServices;
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
    private readonly double[] radial;
    private readonly int[] angular;
    private readonly int highest;

    /// <summary>Prepares tables.</summary>
    /// <param name="modes">Which polynomials.</param>
    /// <param name="fwhm">Full width at half maximum of the blur (Kolmogorov's long exposure) in disc radii, 0 for none.</param>
    public MomentBasis(IReadOnlyList<ZernikeIndex> modes, double fwhm)
    {
        Count = modes.Count;
        Stride = (modes.Count + Vector<double>.Count - 1) / Vector<double>.Count * Vector<double>.Count;
        tableReach = Reach + (2 * fwhm);
        highest = modes.Max(z => z.Frequency);
        angular = [.. modes.Select(z => (2 * z.Frequency) + (z.M < 0 ? 1 : 0))];
        fade = new double[Steps + 2];
        radial = new double[(Steps + 2) * Stride];
        Fill(modes, Kernel(fwhm));
    }

    /// <summary>Number of test functions.</summary>
    public int Count { get; }

    /// <summary>Values that <see cref="Evaluate"/> writes: whole registers, zero from <see cref="Count"/> on.</summary>
    public int Stride { get; }

    /// <summary>Weight without polynomial: 1 on the disc, 0 far out.</summary>
    public double Fade(double x, double y)
    {
        double t = Math.Sqrt((x * x) + (y * y)) * Steps / tableReach;
        if (t >= Steps)
        {
            return 0;
        }

        int i = (int)t;
        return fade[i] + ((t - i) * (fade[i + 1] - fade[i]));
    }

    /// <summary>Values of all test functions at a point in disc coordinates.</summary>
    /// <returns>False where all of them are zero; nothing is written then.</returns>
    public bool Evaluate(double x, double y, Span<double> values)
    {
        double r = Math.Sqrt((x * x) + (y * y)), t = r * Steps / tableReach;
        if (t >= Steps)
        {
            return false;
        }

        double c = r > 0 ? x / r : 1, s = r > 0 ? y / r : 0;
        Span<double> turns = stackalloc double[2 * (highest + 1)];
        (turns[0], turns[1]) = (1, 0);
        for (int m = 2; m < turns.Length; m += 2)
        {
            turns[m] = (turns[m - 2] * c) - (turns[m - 1] * s);
            turns[m + 1] = (turns[m - 1] * c) + (turns[m - 2] * s);
        }

        int i = (int)t;
        for (int j = 0; j < angular.Length; j++)
        {
            values[j] = turns[angular[j]];
        }

        values[angular.Length..].Clear();
        var part = new Vector<double>(t - i);
        ref double to = ref MemoryMarshal.GetReference(values);
        ref double below = ref radial[i * Stride];
        ref double above = ref radial[(i + 1) * Stride];
        for (nuint j = 0; j < (nuint)Stride; j += (nuint)Vector<double>.Count)
        {
            Vector<double> a = Vector.LoadUnsafe(ref below, j), b = Vector.LoadUnsafe(ref above, j);
            ((a + (part * (b - a))) * Vector.LoadUnsafe(ref to, j)).StoreUnsafe(ref to, j);
        }

        return true;
    }

    private static double FadeAt(double r)
    {
        double t = Math.Clamp((r - FadeFrom) / (Reach - FadeFrom), 0, 1);
        return 1 - (t * t * (3 - (2 * t)));
    }

    // Points that stand for the long-exposure image of a point: rings that hold equal shares of its light, each eight spokes. Its wings
    // matter, so a Gaussian of the same width will not do. What is tabled is even in y: the spokes below count with those above.
    private static (double X, double Y, double Share)[] Kernel(double fwhm)
    {
        if (fwhm <= 0)
        {
            return [(0, 0, 1)];
        }

        const int Spokes = 8;
        return
        [
            .. from ring in Enumerable.Range(0, Rings)
               let r = fwhm * RingRadius.Value[ring]
               let turned = 0.5 * (ring & 1)
               from spoke in Enumerable.Range(0, turned > 0 ? Spokes / 2 : (Spokes / 2) + 1)
               let angle = (spoke + turned) * 2 * Math.PI / Spokes
               let both = turned > 0 || spoke % (Spokes / 2) != 0
               select (r * Math.Cos(angle), r * Math.Sin(angle), (both ? 2.0 : 1.0) / (Rings * Spokes)),
        ];
    }

    // Every mode's cosine partner along the x axis, blurred. Polynomials of one frequency follow from each other by the recurrence of
    // Zernike.Radial.
    private void Fill(IReadOnlyList<ZernikeIndex> modes, (double X, double Y, double Share)[] kernel)
    {
        int orders = (modes.Max(z => z.N) / 2) + 1;
        double[] sums = new double[(highest + 1) * orders];
        int[] shape = [.. modes.Select(z => (z.Frequency * orders) + ((z.N - z.Frequency) / 2))];
        int[] last = [.. Enumerable.Range(0, highest + 1).Select(m => modes.Where(z => z.Frequency == m).Select(z => (z.N - m) / 2).DefaultIfEmpty(-1).Max())];
        double[] norm = [.. modes.Select(Zernike.Norm)];
        for (int i = 0; i < fade.Length; i++)
        {
            double r = tableReach * i / Steps;
            Array.Clear(sums);
            foreach ((double dx, double y, double share) in kernel)
            {
                double x = r + dx, rho2 = (x * x) + (y * y), f = share * FadeAt(Math.Sqrt(rho2));
                if (f == 0)
                {
                    continue;
                }

                fade[i] += f;
                (double a, double b) = (f, 0);
                for (int m = 0; m <= highest; m++)
                {
                    AddOrders(m, last[m], (2 * rho2) - 1, a, sums.AsSpan(m * orders, orders));
                    (a, b) = ((a * x) - (b * y), (a * y) + (b * x));
                }
            }

            for (int j = 0; j < shape.Length; j++)
            {
                radial[(i * Stride) + j] = norm[j] * sums[shape[j]];
            }
        }
    }

    // Adds factor times the Jacobi polynomials P_k^(0,m) for k from 0 to the last.
    private static void AddOrders(int m, int last, double x, double factor, Span<double> sums)
    {
        double before = 1, now = 1;
        for (int k = 0; k <= last; k++)
        {
            double two = (2 * k) + m;
            double next = k switch
            {
                0 => 1,
                1 => 1 + ((m + 2) * (x - 1) / 2),
                _ => ((two - 1) * ((two * (two - 2) * x) - ((double)m * m)) * now - (2.0 * (k - 1) * (k + m - 1) * two * before))
                    / (2.0 * k * (k + m) * (two - 2)),
            };
            (before, now) = (now, next);
            sums[k] += factor * next;
        }
    }
}
