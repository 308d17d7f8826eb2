using System.Numerics;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What neighboring colors do to a profile: the image of a color is as wide along the dispersion as across, so that lines,
/// flanks and a changing focus mix chords of other colors' discs into a column.</summary>
/// <remarks>The star's own spectrum is sharpened (Richardson 1972, J. Opt. Soc. Am. 62, 55; Lucy 1974, Astron. J. 79, 745), every
/// color's image laid down along it, and what a bin's profile then differs from that of an even spectrum is the correction.</remarks>
internal static class NeighborLight
{
    private const int Sharpenings = 30; // rounds at most; noise ends them earlier
    private const int Farthest = 90; // columns
    private const double Unseen = 0.02; // of a color's light
    private const int MostInBin = 3; // images of neighboring colors

    /// <summary>Whether a slit kept other colors' discs out: without one unless the profiles speak against it by more than the
    /// correction's own faults do, which few profiles in the steep violet show (found on simulated spectra).</summary>
    public static bool BehindSlit(ProfileFit slit, ProfileFit open) => slit.BetterThan(open) > 30;

    /// <summary>What is to be taken from the profile of each bin, frames x bins x rows, ADU.</summary>
    /// <param name="input">Reduced spectra.</param>
    /// <param name="request">Optics.</param>
    /// <param name="focusUm">Best focus at a wavelength.</param>
    /// <param name="positionUm">Of the sensor in each frame.</param>
    /// <param name="seeingPx">FWHM of the seeing in a frame at a wavelength.</param>
    /// <param name="blurPx2">Variance of the spectrograph's blur.</param>
    /// <param name="slit">True where a slit keeps other colors' discs out: then only the focus that changes within a bin counts.</param>
    /// <param name="context">Threads.</param>
    public static double[][][] Find(ColorFocusInput input, ColorFocusRequest request, Func<double, double> focusUm, double[] positionUm,
        Func<int, double, double> seeingPx, double blurPx2, bool slit, RunContext context)
    {
        int frames = input.Frames, bins = input.Bins;
        // As many images to a bin as its focus changes by parts of the seeing's width.
        double finest = Enumerable.Range(0, frames).Min(i => seeingPx(i, 550)) * input.PitchUm * request.FocalRatio;
        double[] binFocus = [.. input.Nm.Select(focusUm)];
        double steepest = Enumerable.Range(1, bins - 1).Max(j => Math.Abs(binFocus[j] - binFocus[j - 1]));
        int each = (int)Math.Clamp(Math.Ceiling(steepest / Math.Max(0.7 * finest, 1e-9)), 1, MostInBin);
        int nodes = bins * each, n = input.ColumnNm.Length;
        // The wavelength at the middle of each stretch; a bin's own may lie beside it, where lines or bad columns were left out.
        double[] nm = [.. Enumerable.Range(0, nodes).Select(m => Between(input.ColumnNm, ((m + 0.5) * n / nodes) - 0.5))];
        double[] focus = [.. nm.Select(focusUm)];
        ProfileGrid[] grids = input.Grids();
        var images = new ColorImage[frames][];
        var plain = new double[frames][][];
        Parallel.For(0, frames, context.Parallel, i =>
        {
            double widest = focus.Max(f => Math.Abs(positionUm[i] - f)) / (2 * request.FocalRatio) / input.PitchUm;
            int reach = slit ? 0 : (int)Math.Min(Farthest, Math.Ceiling(widest + (2.5 * seeingPx(i, nm.Min())) + (3 * Math.Sqrt(Math.Max(0, blurPx2)))) + 2);
            var plan = new ImagePlan(grids[i], reach);
            ColorImage Image(int bin, double at, double best) =>
                new(input, plan, request, i, bin, at, positionUm[i] - best, seeingPx(i, at), blurPx2, slit);
            images[i] = [.. Enumerable.Range(0, nodes).Select(m => Image(m / each, nm[m], focus[m]))];
            // The plain profile is that of the bin's own color.
            plain[i] = [.. Enumerable.Range(0, bins).Select(j => Image(j, input.Nm[j], binFocus[j]).Across)];
        });
        double[] star = slit ? [.. input.Spectra[frames / 2].Flux.Select(f => Math.Max(f, 0))] : Sharpen(input, images, each, binFocus, positionUm);
        var result = new double[frames][][];
        Parallel.For(0, frames, context.Parallel, i => result[i] = Difference(input.Spectra[i], images[i], plain[i], star));
        return result;
    }

    private static double Between(double[] v, double at)
    {
        double x = Math.Clamp(at, 0, v.Length - 1.001);
        int k = (int)x;
        return v[k] + ((x - k) * (v[k + 1] - v[k]));
    }

    /// <summary>The star's spectrum before blurring, from the frame that is sharpest in each color, with what lies as far as an image
    /// reaches beyond the columns on both sides: light that comes in from there is all that is known of it (Bertero and Boccacci 2005,
    /// Astron. Astrophys. 437, 369).</summary>
    private static double[] Sharpen(ColorFocusInput input, ColorImage[][] images, int each, double[] focusUm, double[] positionUm)
    {
        int n = input.Spectra[0].Flux.Length, bins = input.Bins, middle = input.Frames / 2, nodes = bins * each;
        double[] clarity = [.. input.Spectra.Select(s => s.Flux.Sum() / input.Spectra[middle].Flux.Sum())];
        var seen = new double[n];
        var error = new double[n];
        var frame = new int[n];
        for (int c = 0; c < n; c++)
        {
            int j = Math.Min(bins - 1, (int)((c + 0.5) * bins / n));
            int i = Enumerable.Range(0, input.Frames).MinBy(f => Math.Abs(positionUm[f] - focusUm[j]));
            seen[c] = Math.Max(input.Spectra[i].Flux[c] / clarity[i], 0);
            error[c] = input.Spectra[i].FluxUncertainty[c] / clarity[i];
            frame[c] = i;
        }

        // Light goes from a color to a column by the color's own image in the column's frame.
        int reach = images.Max(i => i[0].Plan.Reach);
        int[] node = [.. Enumerable.Range(-reach, n + (2 * reach)).Select(x => Math.Clamp((int)Math.Floor((x + 0.5) * nodes / n), 0, nodes - 1))];
        double Share(int color, int column) => Math.Max(0, images[frame[column]][node[color]].AlongAt(Math.Abs(color - reach - column)));
        double Arrived(double[] star, int column)
        {
            double sum = 0;
            for (int color = column; color <= column + (2 * reach); color++)
            {
                sum += star[color] * Share(color, column);
            }

            return sum;
        }

        // A color of which hardly any light comes in stays what it was.
        double Sent(double[] light, int color, double otherwise)
        {
            double sum = Unseen * otherwise, share = Unseen;
            for (int column = Math.Max(0, color - (2 * reach)); column <= Math.Min(n - 1, color); column++)
            {
                double s = Share(color, column);
                share += s;
                sum += s * light[column];
            }

            return sum / share;
        }

        double floor = Math.Max(1e-6 * seen.Max(), 1e-12);
        // Start from what is smoother than the image, so that noise comes in only as rounds bring it, and end where the residuals
        // are those of noise.
        double[] star = [.. node.Select((_, x) => Math.Max(Sent(seen, x, seen[Math.Clamp(x - reach, 0, n - 1)]), floor))];
        for (int turn = 0; turn < Sharpenings; turn++)
        {
            double[] model = [.. seen.Select((_, c) => Arrived(star, c))];
            if (seen.Select((v, c) => Math.Pow((v - model[c]) / Math.Max(error[c], floor), 2)).Sum() < n)
            {
                break;
            }

            double[] ratio = [.. seen.Select((v, c) => Math.Clamp(Math.Max(v, floor) / Math.Max(model[c], floor), 0.2, 5))];
            star = [.. star.Select((v, x) => Math.Max(v * Sent(ratio, x, 1), floor))];
        }

        return star;
    }

    private static double[][] Difference(ReducedSpectrum s, ColorImage[] images, double[][] plain, double[] star)
    {
        int n = s.Flux.Length, nodes = images.Length, bins = plain.Length, reach = images[0].Plan.Reach, half = images[0].Plan.Half;
        var light = new double[n * half];
        double at = 0.5 * n / nodes; // middle of the first stretch
        int beyond = (star.Length - n) / 2;
        for (int x = -reach; x < n + reach; x++)
        {
            double node = Math.Clamp((x + 0.5 - at) * nodes / n, 0, nodes - 1);
            int j = Math.Min((int)node, Math.Max(nodes - 2, 0));
            double share = node - j, flux = star[Math.Clamp(x + beyond, 0, star.Length - 1)];
            ColorImage one = images[j], two = images[Math.Min(j + 1, nodes - 1)];
            for (int d = 0; d <= reach; d++)
            {
                int left = x - d, right = x + d;
                Span<double> to = left >= 0 && left < n ? light.AsSpan(left * half, half) : default;
                Span<double> also = d > 0 && right >= 0 && right < n ? light.AsSpan(right * half, half) : default;
                Mix(one.Column(d), two.Column(d), flux * (1 - share), flux * share, to, also);
            }
        }

        var result = new double[bins][];
        for (int j = 0; j < bins; j++)
        {
            var column = new double[half];
            double seen = 0;
            for (int c = j * n / bins; c < (j + 1) * n / bins; c++)
            {
                if (s.Masked[c] || !(s.Flux[c] > 0))
                {
                    continue;
                }

                Add(column, light.AsSpan(c * half, half));
                seen += s.Flux[c];
            }

            double[] sum = images[0].Plan.Whole(column);
            double model = sum.Sum();
            double whole = plain[j].Sum();
            // Both hold the same light; only the shape differs.
            double[] difference = [.. sum.Select((v, r) => model > 0 ? (v - (model * plain[j][r] / whole)) * seen / model : 0)];
            result[j] = Shifted(difference, s.SubpixelMean[j]);
        }

        return result;
    }

    /// <summary>A profile moved up by part of a row, by the cubic through four rows; zero beyond its ends.</summary>
    private static double[] Shifted(double[] profile, double by)
    {
        int whole = (int)Math.Floor(by);
        double t = 1 - (by - whole);
        double At(int r) => r >= 0 && r < profile.Length ? profile[r] : 0;
        return [.. profile.Select((_, r) =>
        {
            int k = r - whole - 1;
            return (-t * (t - 1) * (t - 2) / 6 * At(k - 1)) + ((t + 1) * (t - 1) * (t - 2) / 2 * At(k)) - ((t + 1) * t * (t - 2) / 2 * At(k + 1))
                + ((t + 1) * t * (t - 1) / 6 * At(k + 2));
        })];
    }

    private static void Add(Span<double> to, ReadOnlySpan<double> from)
    {
        for (int r = 0; r < to.Length; r++)
        {
            to[r] += from[r];
        }
    }

    /// <summary>Adds a mixture of two columns to one column, to another, or to both; an empty one takes none.</summary>
    private static void Mix(ReadOnlySpan<double> a, ReadOnlySpan<double> b, double ofA, double ofB, Span<double> to, Span<double> also)
    {
        if (to.IsEmpty)
        {
            if (!also.IsEmpty)
            {
                Mix(a, b, ofA, ofB, also, default);
            }

            return;
        }

        int i = 0, lanes = Vector<double>.Count;
        Vector<double> partA = new(ofA), partB = new(ofB);
        for (; i <= a.Length - lanes; i += lanes)
        {
            Vector<double> mixed = (partA * new Vector<double>(a[i..])) + (partB * new Vector<double>(b[i..]));
            (new Vector<double>(to[i..]) + mixed).CopyTo(to[i..]);
            if (!also.IsEmpty)
            {
                (new Vector<double>(also[i..]) + mixed).CopyTo(also[i..]);
            }
        }

        for (; i < a.Length; i++)
        {
            double mixed = (ofA * a[i]) + (ofB * b[i]);
            to[i] += mixed;
            if (!also.IsEmpty)
            {
                also[i] += mixed;
            }
        }
    }
}
