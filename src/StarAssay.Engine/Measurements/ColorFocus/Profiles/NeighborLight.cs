using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What neighboring colors do to a profile: the image of a color is as wide along the dispersion as across, so that lines,
/// flanks and a changing focus mix chords of other colors' discs into a column.</summary>
/// <remarks>The star's own spectrum is sharpened, every color's image laid down along it, and what a bin's profile then differs from
/// that of an even spectrum is the correction.</remarks>
internal static class NeighborLight
{
    private const int Farthest = 90; // columns

    // Images are made as often as the focus changes by this part of the seeing's width.
    private const double Step = 0.7;

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
        int frames = input.Frames, n = input.ColumnNm.Length;
        double finest = Enumerable.Range(0, frames).Min(i => seeingPx(i, 550)) * input.PitchUm * request.FocalRatio;
        double[] columns = ColorImages.Columns(n, input.Bins, c => focusUm(Between(input.ColumnNm, c)), Math.Max(Step * finest, 1e-9));
        double[] nm = [.. columns.Select(c => Between(input.ColumnNm, c))], focus = [.. nm.Select(focusUm)];
        ProfileGrid[] grids = input.Grids();
        int[] reach = [.. Enumerable.Range(0, frames).Select(i =>
        {
            double widest = focus.Max(f => Math.Abs(positionUm[i] - f)) / (2 * request.FocalRatio) / input.PitchUm;
            return slit ? 0 : (int)Math.Min(Farthest, Math.Ceiling(widest + (2.5 * seeingPx(i, nm.Min())) + (3 * Math.Sqrt(Math.Max(0, blurPx2)))) + 2);
        })];
        HankelTable[] tables = [.. grids.Select(g => input.Hankel(g, reach.Max()))];
        var images = new ColorImages[frames];
        Parallel.For(0, frames, context.Parallel, i =>
        {
            var plan = new ImagePlan(tables[i], reach[i]);
            images[i] = new ColorImages(columns, [.. nm.Select((w, m) => new ColorImage(input, plan, request, SubpixelVariance(input, i, columns[m]), w,
                positionUm[i] - focus[m], seeingPx(i, w), blurPx2, slit))], n, reach.Max());
        });
        double[] star = slit ? [.. input.Spectra[frames / 2].Flux.Select(f => Math.Max(f, 0))]
            : StarSpectrum.Sharpened(input, images, [.. input.Nm.Select(focusUm)], positionUm);
        var result = new double[frames][][];
        Parallel.For(0, frames, context.Parallel, i => result[i] = Difference(input, i, images[i], star));
        return result;
    }

    private static double Between(double[] v, double at)
    {
        double x = Math.Clamp(at, 0, v.Length - 1.001);
        int k = (int)x;
        return v[k] + ((x - k) * (v[k + 1] - v[k]));
    }

    private static double SubpixelVariance(ColorFocusInput input, int frame, double column) =>
        input.Spectra[frame].SubpixelVariance[Math.Clamp((int)((column + 0.5) * input.Bins / input.ColumnNm.Length), 0, input.Bins - 1)];

    private static double[][] Difference(ColorFocusInput input, int frame, ColorImages images, double[] star)
    {
        ReducedSpectrum s = input.Spectra[frame];
        int n = s.Flux.Length, bins = input.Bins, reach = images.Reach, half = images[0].Plan.Half, beyond = (star.Length - n) / 2;
        var result = new double[bins][];
        for (int j = 0; j < bins; j++)
        {
            // How much of the column at each distance of each image comes into the bin; then those columns once.
            int from = j * n / bins, end = (j + 1) * n / bins;
            int first = images.Of(Math.Max(from - reach, -beyond)).Before;
            int last = Math.Min(images.Of(Math.Min(end - 1 + reach, n - 1 + beyond)).Before + 1, images.Count - 1);
            var part = new double[(last - first + 1) * (reach + 1)];
            double seen = 0;
            for (int c = from; c < end; c++)
            {
                if (s.Masked[c] || !(s.Flux[c] > 0))
                {
                    continue;
                }

                seen += s.Flux[c];
                for (int x = c - reach; x <= c + reach; x++)
                {
                    (int i, double share) = images.Of(Math.Clamp(x, -beyond, n - 1 + beyond));
                    double flux = star[Math.Clamp(x + beyond, 0, star.Length - 1)];
                    int at = ((i - first) * (reach + 1)) + Math.Abs(c - x);
                    part[at] += flux * (1 - share);
                    if (share > 0)
                    {
                        part[at + reach + 1] += flux * share;
                    }
                }
            }

            var column = new double[half];
            for (int i = 0; i < part.Length; i++)
            {
                if (part[i] > 0)
                {
                    StarSpectrum.Accumulate(column, images[first + (i / (reach + 1))].Column(i % (reach + 1)), part[i]);
                }
            }

            // The plain profile is that of the bin's own color, which may lie beside its middle where lines or bad columns were left out.
            double[] sum = images[0].Plan.Whole(column), plain = images.Across(input.Spectra[0].BinColumn[j] - input.Spectra[0].FirstColumn);
            double model = sum.Sum(), whole = plain.Sum();
            // Both hold the same light; only the shape differs.
            double[] difference = [.. sum.Select((v, r) => model > 0 ? (v - (model * plain[r] / whole)) * seen / model : 0)];
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
}
