using System.Numerics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>The star's spectrum before blurring.</summary>
/// <remarks>Sharpened (Richardson 1972, J. Opt. Soc. Am. 62, 55; Lucy 1974, Astron. J. 79, 745) from the frame that is sharpest in each
/// color, with what lies as far as an image reaches beyond the columns on both sides: light that comes in from there is all that is
/// known of it (Bertero and Boccacci 2005, Astron. Astrophys. 437, 369).</remarks>
internal sealed class StarSpectrum
{
    private const int Rounds = 30; // at most; noise ends them earlier
    private const double Unseen = 0.02; // of a color's light
    private readonly double[] seen;
    private readonly double[] error;
    private readonly double floor;
    private readonly int width; // colors that send light into a column
    private readonly double[] share; // of each color's light that goes to the column, column by column
    private readonly double[] sent; // of each color's light, all that the columns see

    private StarSpectrum(ColorFocusInput input, ColorImages[] images, double[] focusUm, double[] positionUm)
    {
        int n = input.Spectra[0].Flux.Length, bins = input.Bins, middle = input.Frames / 2;
        double[] clarity = [.. input.Spectra.Select(s => s.Flux.Sum() / input.Spectra[middle].Flux.Sum())];
        seen = new double[n];
        error = new double[n];
        Reach = images.Max(i => i.Reach);
        width = (2 * Reach) + 1;
        share = new double[n * width];
        sent = new double[n + (2 * Reach)];
        Array.Fill(sent, Unseen);
        for (int c = 0; c < n; c++)
        {
            int j = Math.Min(bins - 1, (int)((c + 0.5) * bins / n)), sharpest = 0;
            for (int f = 1; f < input.Frames; f++)
            {
                sharpest = Math.Abs(positionUm[f] - focusUm[j]) < Math.Abs(positionUm[sharpest] - focusUm[j]) ? f : sharpest;
            }

            seen[c] = Math.Max(input.Spectra[sharpest].Flux[c] / clarity[sharpest], 0);
            error[c] = input.Spectra[sharpest].FluxUncertainty[c] / clarity[sharpest];
            for (int i = 0; i < width; i++)
            {
                double s = Math.Max(0, images[sharpest].Along(c + i - Reach, Math.Abs(i - Reach)));
                share[(c * width) + i] = s;
                sent[c + i] += s;
            }
        }

        floor = Math.Max(1e-6 * seen.Max(), 1e-12);
    }

    /// <summary>Colors beyond the columns on each side.</summary>
    private int Reach { get; }

    /// <summary>Light of every color, from as far before the first column on as images reach.</summary>
    public static double[] Sharpened(ColorFocusInput input, ColorImages[] images, double[] focusUm, double[] positionUm) =>
        new StarSpectrum(input, images, focusUm, positionUm).Sharpened();

    private double[] Sharpened()
    {
        // Start from what is smoother than the image, so that noise comes in only as rounds bring it, and end where the residuals
        // are those of noise.
        int n = seen.Length;
        double[] star = Sent(seen, x => seen[Math.Clamp(x - Reach, 0, n - 1)]);
        for (int x = 0; x < star.Length; x++)
        {
            star[x] = Math.Max(star[x], floor);
        }

        var ratio = new double[n];
        for (int turn = 0; turn < Rounds; turn++)
        {
            double misfit = 0;
            for (int c = 0; c < n; c++)
            {
                double model = Sums.Dot(share.AsSpan(c * width, width), star.AsSpan(c, width));
                double off = (seen[c] - model) / Math.Max(error[c], floor);
                misfit += off * off;
                ratio[c] = Math.Clamp(Math.Max(seen[c], floor) / Math.Max(model, floor), 0.2, 5);
            }

            if (misfit < n)
            {
                break;
            }

            double[] by = Sent(ratio, _ => 1);
            for (int x = 0; x < star.Length; x++)
            {
                star[x] = Math.Max(star[x] * by[x], floor);
            }
        }

        return star;
    }

    /// <summary>What the columns say of each color, by the light it sends them; a color of which hardly any comes in stays what it was.</summary>
    private double[] Sent(double[] light, Func<int, double> otherwise)
    {
        var sum = new double[sent.Length];
        for (int c = 0; c < light.Length; c++)
        {
            Accumulate(sum.AsSpan(c, width), share.AsSpan(c * width, width), light[c]);
        }

        for (int x = 0; x < sum.Length; x++)
        {
            sum[x] = (sum[x] + (Unseen * otherwise(x))) / sent[x];
        }

        return sum;
    }

    /// <summary>Adds numbers times a factor.</summary>
    internal static void Accumulate(Span<double> to, ReadOnlySpan<double> from, double times)
    {
        int i = 0, lanes = Vector<double>.Count;
        var by = new Vector<double>(times);
        for (; i <= to.Length - lanes; i += lanes)
        {
            Vector.MultiplyAddEstimate(by, new Vector<double>(from[i..]), new Vector<double>(to[i..])).CopyTo(to[i..]);
        }

        for (; i < to.Length; i++)
        {
            to[i] += times * from[i];
        }
    }
}
