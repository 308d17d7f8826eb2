using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Stars;

/// <summary>Measures one star after the other; each worker has its own. Nothing is allocated for a star.</summary>
internal sealed class StarMeter
{
    // Light beyond this share of the own star's makes a pixel the neighbor's.
    private const double NeighborShare = 0.2;
    private const double SkirtExponent = 3;

    // Slope of the curve of growth at the half-flux radius, times radius over half the light.
    private const double GrowthSlope = 1.34;

    // Below this second moment (FWHM about 2.3 pixels) a star's place in its pixel shifts its center and shape noticeably.
    private const double SmallVariance = 1.1;

    // Small stars of this signal-to-noise ratio take center and shape from a profile of their 5 x 5 middle pixels, unless that
    // lies elsewhere.
    private const double SmallFitSnr = 30;
    private const int CoreReach = 2;

    // What half-flux radii are off by beyond the noise (docs/accuracy.md): light of unseen neighbors and of skirts left in the sky, and of
    // the pixels' blur that is taken out a part, since the model star is no Moffat profile.
    private const double HfrKnown = 0.002;
    private const double BlurKnown = 0.06;
    private const double MostMove = 0.3;

    // A real profile that is so much wider at half of its height than the fitted one, surely, has a flat top.
    private const double FlatTop = 1.1;
    private const double FlatSure = 4;

    // What own widths are off by beyond the noise, relative: a core within a halo came out 0.1 % low from 3.2 pixels on, 2 % at 2.6.
    private const double WidthKnown = 0.003;
    private const double NarrowKnown = 0.03;
    private const double NarrowFwhm = 2.2;

    // Width over half-flux radius: 2 for a Gaussian, less with wings, 2.83 for a disc, 2.6 for a ring with a hole of 0.4. Half-pixel rings
    // of the curve of growth tell nothing of smaller discs.
    private const double FlatShare = 2.1;
    private const double LeastDisc = 2;

    // The pixels' blur of large stars, and of those larger than this share of two usual half-flux radii, follows their own slope: discs have
    // none. That of small ones is known better from the usual star.
    private const double OwnSlopeAlways = 3;
    private const double OwnSlopeFrom = 2;
    private const double OwnSlopeShare = 0.65;
    private const double SlopeStep = 0.3;
    private const double MostSteep = 4;

    // Before a sky with structure moments grow onto ridges beside the star: so much wider than the usual star's and so many of its
    // deviations away from the peak they are not the star's.
    private const double StrayWidth = 1.3;
    private const double StrayStep = 0.5;

    private const double CoreExponent = 30;

    /// <summary>Exponent of a Moffat profile that stands for a Gaussian; fitted to one its width is 0.2 to 0.4 % less.</summary>
    public const double NearlyGaussian = 200;

    private readonly MeterSettings set;
    private readonly bool[] alone;
    private readonly FrameReader careful;
    private readonly StampReader reader;
    private readonly Stamp stamp;
    private readonly Stamp model;
    private readonly PixelBlur blur;
    private readonly MoffatFit fit;
    private readonly int fitReach;
    private readonly double radiusPerSigma;
    private readonly List<int> near = [];

    /// <summary>Makes a meter.</summary>
    /// <param name="settings">What all stars share.</param>
    /// <param name="address">Where the frame's pixels stay meanwhile.</param>
    /// <param name="alone">For each seed, whether no other stands near enough to matter; see <see cref="LoneSeeds"/>.</param>
    public StarMeter(MeterSettings settings, nint address, bool[] alone)
    {
        set = settings;
        this.alone = alone;
        careful = new FrameReader(settings.Frame);
        stamp = new Stamp(Half(settings));
        model = new Stamp(Half(settings));
        reader = new StampReader(settings.Frame, address);
        blur = new PixelBlur(settings.Beta, settings.OuterRadius);

        // Out to about two FWHM: there the profile's exponent shows.
        fitReach = Math.Clamp((int)Math.Ceiling(4.5 * Math.Sqrt(settings.Variance)), 4, stamp.Half);
        fit = new MoffatFit(stamp.Half);

        // The circle of the signal-to-noise ratio is two half-flux radii of the usual star; 1.2 is a Gaussian's ratio.
        radiusPerSigma = Math.Clamp(0.5 * settings.SnrRadius / Math.Sqrt(settings.Variance), 1.1, 1.5);
    }

    /// <summary>Square of the distance from another star, over that from the own one, within which a pixel is the other's; their cores are
    /// added to both.</summary>
    /// <param name="heights">The other's height over the own.</param>
    public static double Reach(double heights) => Math.Pow(heights / NeighborShare, 1 / SkirtExponent);

    /// <summary>How far away another star still counts: from the corner of the stamp to its outer radius.</summary>
    public static double Reach(MeterSettings settings) => (1.42 * Half(settings)) + settings.OuterRadius;

    private static int Half(MeterSettings settings) => (int)Math.Ceiling(settings.OuterRadius) + 2;

    /// <summary>The stamp of the star measured last.</summary>
    public Stamp Stamp => stamp;

    /// <summary>Measures the star at a seed.</summary>
    /// <param name="index">Which seed.</param>
    /// <param name="fitSnr">Least signal-to-noise ratio for a profile fit; infinity for none.</param>
    public StarRecord Measure(int index, double fitSnr)
    {
        Seed seed = set.Seeds[index];
        SkySample sky = set.Mesh.At(seed.X, seed.Y);
        LocalSky.Star around = set.Around is null ? LocalSky.Star.Unknown : set.Around[index];
        sky = sky with { Level = sky.Level + around.Shift };
        var star = new StarRecord
        {
            Sky = sky.Level,
            Noise = sky.Noise,
            Rough = 1,
            Fwhm = double.NaN,
            FwhmError = double.NaN,
            Beta = double.NaN,
            ProfileFwhm = double.NaN,
            ProfileFwhmError = double.NaN
        };
        Read(seed, sky, ref star);
        if (!alone[index])
        {
            ExcludeNeighbors(seed, index, ref star);
        }

        if (stamp.AnyBad)
        {
            FillBad(stamp.Half, stamp.Half);
        }

        double startVariance = seed.Variance(set.Variance);
        Ellipse ellipse = AdaptiveMoments.Measure(stamp, stamp.Half + Top(1), stamp.Half + Top(stamp.Stride), startVariance, sky.Noise);
        if (!ellipse.Converged)
        {
            // A cosmic ray's top may lie beside what can be measured; its shape tells it from a star.
            ellipse = AdaptiveMoments.Measure(stamp, stamp.Half, stamp.Half, startVariance, 0);
        }

        if (stamp.AnyBad && ellipse.Converged)
        {
            // Once more with the holes filled from opposite the true center.
            FillBad(ellipse.X, ellipse.Y);
            ellipse = AdaptiveMoments.Measure(stamp, ellipse.X, ellipse.Y, 0.5 * (ellipse.Cxx + ellipse.Cyy), sky.Noise);
        }

        double x = ellipse.X, y = ellipse.Y;
        if (set.Around is not null && seed.Diameter == 0 && Strayed(ellipse))
        {
            star.Marks |= StarMarks.NoShape;
            (star.Cxx, star.Cxy, star.Cyy, star.ShapeFlux) = (double.NaN, double.NaN, double.NaN, double.NaN);
            (x, y) = AtPeak();
            ellipse = ellipse with { Converged = false };
        }
        else if (ellipse.Converged)
        {
            star.Widening = AdaptiveMoments.WithWings(AdaptiveMoments.Widening(ellipse, sky.Noise, Gain(sky)));
            (x, y) = AdaptiveMoments.Center(stamp, ellipse, star.Widening);
            (star.Cxx, star.Cxy, star.Cyy, star.ShapeFlux) = (ellipse.Cxx, ellipse.Cxy, ellipse.Cyy, ellipse.Flux);
        }
        else
        {
            star.Marks |= StarMarks.NoShape;
            (x, y) = (stamp.Half, stamp.Half);
            (star.Cxx, star.Cxy, star.Cyy, star.ShapeFlux) = (double.NaN, double.NaN, double.NaN, double.NaN);
        }

        Sizes(x, y, ref star);
        bool small = ellipse.Converged && 0.5 * (ellipse.Cxx + ellipse.Cyy) < SmallVariance && star.Hfr > 0;
        if (small)
        {
            (x, y) = Unpixel(x, y, ellipse, ref star);
        }

        star.Marks |= seed.Unsure ? StarMarks.NoShape : StarMarks.None;
        star.X = x + stamp.X0;
        star.Y = y + stamp.Y0;
        Edges(ref star);
        Errors(around, ref star);
        Sharp(x, y, ref star);
        if (ellipse.Converged && (star.Marks & StarMarks.Saturated) == 0 && star.Snr >= Math.Min(fitSnr, small ? SmallFitSnr : fitSnr))
        {
            Profile(ellipse with { X = x, Y = y }, small, star.Snr >= fitSnr, ref star);
        }

        return star;
    }

    /// <summary>Whether an ellipse has left the peak for what lies around it: much wider than the usual star, its middle elsewhere.</summary>
    private bool Strayed(in Ellipse ellipse) => ellipse.Converged && 0.5 * (ellipse.Cxx + ellipse.Cyy) > StrayWidth * set.Variance
        && double.Hypot(ellipse.X - stamp.Half - Top(1), ellipse.Y - stamp.Half - Top(stamp.Stride)) > StrayStep * Math.Sqrt(set.Variance);

    /// <summary>Center under the weight of the usual star, from the peak on.</summary>
    private (double X, double Y) AtPeak()
    {
        double v = set.Variance;
        return AdaptiveMoments.Center(stamp, new Ellipse(stamp.Half + Top(1), stamp.Half + Top(stamp.Stride), v, 0, v, double.NaN, false), 1);
    }

    /// <summary>Where along a line through the middle pixel a parabola through it and its two neighbors is highest; within half a pixel.</summary>
    private double Top(int step)
    {
        int middle = (stamp.Half * stamp.Stride) + stamp.Half;
        float before = stamp.Pixels[middle - step], at = stamp.Pixels[middle], after = stamp.Pixels[middle + step], bend = at + at - before - after;
        return bend > 0 ? Math.Clamp(0.5f * (after - before) / bend, -0.5f, 0.5f) : 0;
    }

    /// <summary>Electrons per ADU; where the frame does not say, what the sky's own photons would need for its noise.</summary>
    private double Gain(SkySample sky) => !double.IsNaN(set.Gain) ? set.Gain
        : sky.Level > 0 ? sky.Level / (sky.Noise * sky.Noise) : double.PositiveInfinity;

    /// <summary>Takes from a small star what its place in its pixel does to center and shape; see <see cref="PixelBlur"/>.</summary>
    private (double X, double Y) Unpixel(double x, double y, in Ellipse ellipse, ref StarRecord star)
    {
        double trueX = x, trueY = y;
        for (int round = 0; round < 2; round++)
        {
            PixelBlur.Bias bias = blur.OfSmallStar(star.Hfr, trueX, trueY, ellipse, star.Widening);
            trueX = x - bias.X;
            trueY = y - bias.Y;
            Sizes(trueX, trueY, ref star);
            star.Cxx = ellipse.Cxx - bias.Stretch;
            star.Cyy = ellipse.Cyy + bias.Stretch;
            star.Cxy = ellipse.Cxy - bias.Shear;
        }

        return (trueX, trueY);
    }

    /// <summary>Fits a profile. A small star is fitted by its core alone, since farther out stand wings and rings that do not follow the
    /// core's profile, and takes its center and shape from it: there the pixels' part in the moments is larger than the noise, and the
    /// profile knows the pixels.</summary>
    private void Profile(in Ellipse start, bool small, bool wanted, ref StarRecord star)
    {
        bool free = star.Snr >= (small ? SmallFitSnr : set.FreeBetaSnr);
        double gain = Gain(new SkySample(star.Sky, 0, 0, star.Noise));
        MoffatFit.Outcome found = fit.Fit(stamp, start, set.FitBeta, free, star.Noise, gain, small ? CoreReach : fitReach, set.WantsLeft);
        if (!found.Converged && free)
        {
            // A star without wings drives the exponent out of all bounds.
            found = fit.Fit(stamp, start, small ? CoreExponent : NearlyGaussian, false, star.Noise, gain, small ? CoreReach : fitReach, set.WantsLeft);
        }

        if (wanted)
        {
            Widths(found, start, gain, ref star);
        }

        if (!found.Converged)
        {
            return;
        }

        star.Left = found.Left;

        if (small && star.Snr >= SmallFitSnr && Math.Abs(found.Model.X - start.X) < MostMove && Math.Abs(found.Model.Y - start.Y) < MostMove)
        {
            TakePlaceAndShape(found, ref star);
        }
    }

    /// <summary>Width of the fitted profile and of the star's own; a flat top has no fitted one.</summary>
    private void Widths(in MoffatFit.Outcome found, in Ellipse start, double gain, ref StarRecord star)
    {
        double variance = star.Noise * star.Noise, perElectron = double.IsNaN(gain) ? 0 : 1 / gain;
        ProfileWidth.Width own = found.Converged ? ProfileWidth.Near(stamp, model, found.Model, variance, perElectron, star.Snr) : ProfileWidth.Width.None;
        double wide = FlatShare * star.HfrRecorded;
        bool flat = own.Value - (FlatSure * own.Uncertainty) > found.Model.Fwhm && own.Value - own.Uncertainty > Math.Max(wide, FlatTop * found.Model.Fwhm);
        if ((flat || !found.Converged) && star.HfrRecorded > LeastDisc)
        {
            ProfileWidth.Width disc = ProfileWidth.OfDisc(stamp, start.X, start.Y, star.HfrRecorded, set.OuterRadius, variance, perElectron);
            flat |= disc.Value > wide;
            own = double.IsNaN(disc.Value) ? own : disc;
        }

        star.Marks |= flat ? StarMarks.FlatTopped : StarMarks.None;
        double known = WidthKnown + (NarrowKnown * Math.Pow(Math.Min(1, NarrowFwhm / own.Value), 4));
        (star.ProfileFwhm, star.ProfileFwhmError) = (Unfilled(own.Value), double.Hypot(own.Uncertainty, known * own.Value));
        if (found.Converged && !flat)
        {
            star.Fwhm = Unfilled(found.Model.Fwhm);
            star.FwhmShared = Math.Abs(found.FwhmPerBeta) * set.BetaError;
            star.FwhmError = double.Hypot(found.FwhmError, star.FwhmShared);
            star.Beta = found.Model.Beta;
            star.Alpha = 1 / Math.Pow(found.Model.Det, 0.25);
        }
    }

    /// <summary>The fit takes pixels for whole squares; what that takes out too much is given back.</summary>
    private double Unfilled(double width) => set.Fill < 1 ? Math.Sqrt((width * width) + ((1 - set.Fill) * 5.545177 / 12)) : width;

    private void TakePlaceAndShape(in MoffatFit.Outcome found, ref StarRecord star)
    {
        Moffat m = found.Model;
        star.X = m.X + stamp.X0;
        star.Y = m.Y + stamp.Y0;
        star.XError = found.XError;
        star.YError = found.YError;

        // The moments keep their size; (a^2 - b^2) / (a^2 + b^2) becomes the profile's.
        // Whole squares, also of pixels that cover less: so much the fit has taken out.
        const double Pixel = 1.0 / 12;
        double size = 0.5 * (star.Cxx + star.Cyy), scale = (size - Pixel) / (m.P + m.R);
        star.Cxx = size + (scale * (m.R - m.P));
        star.Cyy = size - (scale * (m.R - m.P));
        star.Cxy = -2 * scale * m.K;
    }

    /// <summary>Brings the pixels of a star near that is measured soon.</summary>
    public void Prefetch(int index) => reader.Prefetch(set.Seeds[index].X - stamp.Half, set.Seeds[index].Y - stamp.Half, stamp);

    private void Read(Seed seed, SkySample sky, ref StarRecord star)
    {
        stamp.X0 = seed.X - stamp.Half;
        stamp.Y0 = seed.Y - stamp.Half;
        stamp.AnyBad = false;
        if (!reader.TryRead(stamp, sky))
        {
            ReadWithHoles(sky, ref star);
        }

        float peak = float.MinValue;
        int around = Math.Clamp((int)(0.5 * seed.Diameter), 2, stamp.Half);
        for (int j = stamp.Half - around; j <= stamp.Half + around; j++)
        {
            foreach (float value in stamp.Pixels.AsSpan((j * stamp.Stride) + stamp.Half - around, (2 * around) + 1))
            {
                peak = value > peak ? value : peak;
            }
        }

        star.Peak = peak;
        if (peak >= (float)(set.Saturation - sky.Level) || (seed.Diameter == 0 && IsFlatTopped(peak, sky.Noise)))
        {
            star.Marks |= StarMarks.Saturated;
        }
    }

    /// <summary>Any format, any place; what is masked, missing or outside the frame is marked as bad and set to 0.</summary>
    private void ReadWithHoles(SkySample sky, ref StarRecord star)
    {
        Frame frame = set.Frame;
        int half = stamp.Half, side = stamp.Side;
        var plane = new SkyPlane(sky, half);
        int from = Math.Max(0, -stamp.X0), to = Math.Min(side, frame.Width - stamp.X0);
        for (int j = 0; j < side; j++)
        {
            int y = stamp.Y0 + j;
            Span<float> row = stamp.Pixels.AsSpan(j * stamp.Stride, stamp.Stride);
            if (y < 0 || y >= frame.Height)
            {
                row.Clear();
                MarkBad(j, 0, side);
                continue;
            }

            row[..from].Clear();
            row[to..].Clear();
            MarkBad(j, 0, from);
            MarkBad(j, to, side);
            Span<float> inside = row[from..to];
            careful.Row(y, stamp.X0 + from, inside);
            float start = plane.Start(j);
            for (int i = 0; i < inside.Length; i++)
            {
                inside[i] -= plane.At(from + i, start);
                if (!float.IsFinite(inside[i]))
                {
                    inside[i] = 0;
                    MarkBad(j, from + i, from + i + 1);
                    double dx = from + i - half, dy = j - half;
                    if ((dx * dx) + (dy * dy) <= set.OuterRadius * set.OuterRadius)
                    {
                        star.Marks |= StarMarks.BadPixels;
                    }
                }
            }
        }
    }

    /// <summary>A clipped star without a known level: four or more pixels beside the peak within a hundredth of it, where the
    /// frame's stars are too sharp for that.</summary>
    private bool IsFlatTopped(float peak, double noise)
    {
        // For a Gaussian of variance v the fourth-nearest pixel is at least 1 px away: exp(-1/(2v)) < 0.93 for v < 7.
        if (set.Variance > 7 || peak < 100 * noise)
        {
            return false;
        }

        int half = stamp.Half, near = 0;
        for (int j = half - 2; j <= half + 2; j++)
        {
            for (int i = half - 2; i <= half + 2; i++)
            {
                near += stamp[i, j] >= 0.99f * peak ? 1 : 0;
            }
        }

        return near >= 5;
    }

    private void MarkBad(int row, int from, int to)
    {
        if (from < to)
        {
            if (!stamp.AnyBad)
            {
                Array.Clear(stamp.Bad);
                stamp.AnyBad = true;
            }

            stamp.Bad.AsSpan((row * stamp.Side) + from, to - from).Fill(true);
        }
    }

    /// <summary>Marks as bad the pixels where another star's light counts for more than a share of this one's.</summary>
    private void ExcludeNeighbors(Seed seed, int index, ref StarRecord star)
    {
        set.Grid.Near(seed.X, seed.Y, Reach(set), near);
        double core = 2 * set.Variance;
        foreach (int n in near)
        {
            if (n == index)
            {
                continue;
            }

            Seed other = set.Seeds[n];
            double ratio = Reach(other.Height / seed.Height);
            double qx = other.X - stamp.X0, qy = other.Y - stamp.Y0;
            for (int j = 0; j < stamp.Side; j++)
            {
                double oy = j - stamp.Half, ny = j - qy;
                for (int i = 0; i < stamp.Side; i++)
                {
                    double ox = i - stamp.Half, nx = i - qx;
                    double own = core + (ox * ox) + (oy * oy);
                    if (core + (nx * nx) + (ny * ny) < ratio * own)
                    {
                        MarkBad(j, i, i + 1);
                        if (own - core <= set.OuterRadius * set.OuterRadius)
                        {
                            star.Marks |= StarMarks.Blended;
                        }
                    }
                }
            }
        }
    }

    /// <summary>Fills bad pixels with what stands opposite; where that is bad too, with nothing.</summary>
    private void FillBad(double cx, double cy)
    {
        int twoX = (int)Math.Round(2 * cx), twoY = (int)Math.Round(2 * cy);
        for (int j = 0; j < stamp.Side; j++)
        {
            for (int i = 0; i < stamp.Side; i++)
            {
                if (stamp.Bad[(j * stamp.Side) + i])
                {
                    int oi = twoX - i, oj = twoY - j;
                    bool good = oi >= 0 && oj >= 0 && oi < stamp.Side && oj < stamp.Side && !stamp.Bad[(oj * stamp.Side) + oi];
                    stamp.Pixels[(j * stamp.Stride) + i] = good ? stamp[oi, oj] : 0;
                }
            }
        }
    }

    private void Edges(ref StarRecord star)
    {
        double r = set.OuterRadius;
        if (star.X < r - 0.5 || star.Y < r - 0.5 || star.X > set.Frame.Width - 0.5 - r || star.Y > set.Frame.Height - 0.5 - r)
        {
            star.Marks |= StarMarks.Edge;
        }
    }

    private void Sizes(double x, double y, ref StarRecord star)
    {
        star.Flux = CurveOfGrowth.Inside(stamp, x, y, set.OuterRadius);
        (star.HfrRecorded, star.LightSlope) = HalfRadius(x, y, star.Flux, double.IsNaN(star.Cxx) ? set.Variance : 0.5 * (star.Cxx + star.Cyy));
        star.Hfr = star.HfrRecorded > OwnSlopeAlways || star.HfrRecorded > Math.Max(OwnSlopeFrom, OwnSlopeShare * set.SnrRadius)
            ? blur.OfLarge(star.HfrRecorded, Steepness(x, y, star.HfrRecorded, star.Flux)) : blur.Radius(star.HfrRecorded, x, y);
        if (set.Fill < 1)
        {
            // Half of the blur is the pixel's own, and grows with the part of its square that it covers; the other half comes from spreading
            // its light over the whole square in the circle.
            double recorded = star.HfrRecorded * star.HfrRecorded;
            star.Hfr = Math.Sqrt(recorded - (0.5 * (1 + set.Fill) * (recorded - (star.Hfr * star.Hfr))));
        }

        double inside = CurveOfGrowth.Inside(stamp, x, y, set.SnrRadius);
        double pixels = Math.PI * set.SnrRadius * set.SnrRadius;
        double gain = double.IsNaN(set.Gain) ? double.PositiveInfinity : set.Gain;

        // The CCD equation in ADU: photon noise of the star, noise of its pixels, and of the sky level taken from nB others.
        double variance = (Math.Max(0, inside) / gain) + (pixels * (1 + (pixels * set.SkyVariance)) * star.Noise * star.Noise);
        star.Snr = inside / Math.Sqrt(variance);
    }

    /// <summary>-dlnI/dlnr at the half-flux radius h from the curve of growth F: 1 - h F'' / F'.</summary>
    private double Steepness(double x, double y, double h, double flux)
    {
        double step = Math.Min(SlopeStep * h, set.OuterRadius - h), within = CurveOfGrowth.Inside(stamp, x, y, h - step),
            up = CurveOfGrowth.Inside(stamp, x, y, h + step);
        double steep = 1 - (2 * h * (up - flux + within) / (step * (up - within)));
        return double.IsFinite(steep) ? Math.Clamp(steep, -MostSteep, MostSteep) : 0;
    }

    /// <summary>Radius of half of the light, by the secant rule kept inside a bracket; also dF/dr there.</summary>
    private (double Radius, double Slope) HalfRadius(double x, double y, double flux, double variance)
    {
        if (!(flux > 0))
        {
            return (double.NaN, double.NaN);
        }

        double half = 0.5 * flux, low = 0, high = set.OuterRadius, before = 0, missBefore = -half;
        double r = Math.Min(radiusPerSigma * Math.Sqrt(variance), 0.5 * high);
        for (int round = 0; round < 30; round++)
        {
            double miss = CurveOfGrowth.Inside(stamp, x, y, r) - half;
            if (Math.Abs(miss) < 1e-4 * half || high - low < 1e-5)
            {
                break;
            }

            (low, high) = miss < 0 ? (r, high) : (low, r);

            // At the half-flux radius h the growth's slope is about 0.67 F / h; then the slope between the last two.
            double slope = round == 0 ? GrowthSlope * half / r : (miss - missBefore) / (r - before);
            double next = r - (miss / slope);
            if (round > 6 || !(next > low && next < high))
            {
                next = 0.5 * (low + high);
            }
            else if (round > 0 && Math.Abs((next - r) * (next - before)) < 2e-4 * r * r)
            {
                // The secant rule is off by about a quarter of this product over h: 5e-5 of the radius.
                r = next;
                break;
            }

            (before, missBefore, r) = (r, miss, next);
        }

        return (r, GrowthSlope * half / r);
    }

    /// <summary>Standard uncertainties from sky noise, photon noise when the gain is known, and the sky level's own error.</summary>
    private void Errors(in LocalSky.Star around, ref StarRecord star)
    {
        double gain = double.IsNaN(set.Gain) ? double.PositiveInfinity : set.Gain;
        double pixel = star.Noise * star.Noise, sky = pixel * set.SkyVariance;
        double area = Math.PI * set.OuterRadius * set.OuterRadius;
        double photons = Math.Max(0, star.Flux) / gain;
        bool known = double.IsFinite(around.HalfVariance);
        star.FluxError = Math.Sqrt(photons + (known ? around.FluxVariance : (area * pixel) + (area * area * sky)));

        // F(h) - F(R)/2 = 0: light inside h counts +1/2, outside -1/2.
        double inner = Math.PI * star.HfrRecorded * star.HfrRecorded, lever = inner - (0.5 * area);
        double fromNoise = 0.25 * area * pixel, ofSky = known ? Math.Max(fromNoise, around.HalfVariance) : fromNoise + (lever * lever * sky);
        double random = Math.Sqrt((0.25 * photons) + ofSky) / star.LightSlope;
        double least = HfrKnown * star.Hfr, blurred = BlurKnown * (star.HfrRecorded - star.Hfr);
        star.HfrError = Math.Sqrt((random * random) + (least * least) + (blurred * blurred));

        // Weighted center with a Gaussian weight of k times the star's moments (see AdaptiveMoments.Widening).
        double det = Math.Sqrt(Math.Max(0, (star.Cxx * star.Cyy) - (star.Cxy * star.Cxy))), flux = star.ShapeFlux;
        double k = star.Widening, square = (k + 1) * (k + 1) / k, factor = square * square;
        star.Rough = known ? ofSky / fromNoise : 1;

        // Most of what structure does to the sum goes through the level, which moves no center.
        double fromSky = 0.5 * factor * Math.PI * det * pixel * Math.Sqrt(star.Rough) / (flux * flux), fromStar = factor / ((k + 2) * (k + 2) * flux * gain);
        star.XError = Math.Sqrt(star.Cxx * (fromSky + fromStar));
        star.YError = Math.Sqrt(star.Cyy * (fromSky + fromStar));
    }

    /// <summary>How much of the brightest pixel its neighbors hold.</summary>
    private void Sharp(double x, double y, ref StarRecord star)
    {
        int px = Math.Clamp((int)Math.Round(x), 1, stamp.Side - 2), py = Math.Clamp((int)Math.Round(y), 1, stamp.Side - 2);
        int bx = px, by = py;
        for (int j = Math.Max(1, py - 1); j <= Math.Min(stamp.Side - 2, py + 1); j++)
        {
            for (int i = Math.Max(1, px - 1); i <= Math.Min(stamp.Side - 2, px + 1); i++)
            {
                if (stamp[i, j] > stamp[bx, by])
                {
                    (bx, by) = (i, j);
                }
            }
        }

        double peak = stamp[bx, by];
        double across = 0.5 * (stamp[bx - 1, by] + stamp[bx + 1, by]) / peak, along = 0.5 * (stamp[bx, by - 1] + stamp[bx, by + 1]) / peak;
        star.Sharpness = Math.Min(across, along);

        star.TopOffset = Math.Min(Math.Abs(bx - x), Math.Abs(by - y));
        double gain = double.IsNaN(set.Gain) ? double.PositiveInfinity : set.Gain;
        star.SharpnessError = Math.Sqrt((star.Noise * star.Noise) + (Math.Max(0, peak) / gain)) / peak;
    }
}
