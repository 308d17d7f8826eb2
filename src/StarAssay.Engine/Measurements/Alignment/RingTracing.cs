using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Alignment;

/// <summary>Edges and rings of a disc one by one: each is compared with the same ring of a round image, drawn by the same optics at the same defocus and
/// seeing.</summary>
/// <remarks>
/// In the zone of a ring the pixels are a round image that may be moved, wider, drawn out to an ellipse, and brighter on one side: linear least squares
/// in the image, its derivatives, and the image times cos t and sin t. Since diffraction and seeing are in the round image, they do not move the edge.
/// </remarks>
internal static class RingTracing
{
    // A ring stands out by this share of the disc's level; narrower zones than this many pixels tell nothing.
    private const double Prominence = 0.04, LeastPixels = 40;
    private const double Bin = 0.5;
    private const int Columns = 8;

    /// <summary>Traces the rings of all images.</summary>
    public static List<AlignmentRing> Of(DiscFit fit, DiscCutout cutout, Team team)
    {
        var found = new List<AlignmentRing>();
        PairOptics round = fit.Optics with { Shape = fit.Optics.Shape with { ObstructionX = 0, ObstructionY = 0 } };
        PairState state = fit.State.Copy();
        for (int j = 0; j < DiscFit.Modes.Length; j++)
        {
            state.CoefficientsNm[j] *= DiscFit.Modes[j].M == 0 ? 1 : 0;
        }

        using var model = new PairModel(round, DiscFit.Modes, state.DefocusNm.Max(Math.Abs) * 1.03, team);
        int w = cutout.Data.Window;
        SplitMatrix[] units = [.. Enumerable.Range(0, PairJacobian.ExtraUnits).Select(_ => model.Memory.Matrix(w, w, clear: false))];
        for (int k = 0; k < cutout.Count; k++)
        {
            (double X, double Y) outer = DiscCircles.Middle(fit, k, 1);
            Draw(model, state, k, outer, units);
            double[] profile = Profile(model.Pixels.Part(k), w, outer);
            double rim = DiscCircles.Radius(fit, k, 1), e = fit.Optics.Shape.Obstruction;
            foreach ((string kind, double at, double from, double to) in Zones(profile, rim, e > 0 ? DiscCircles.Radius(fit, k, e) : 0))
            {
                // Where the ring has to lie by the fit: that is where the round image is put.
                double rho = kind == "shadow" ? e : Math.Min(1, at / rim);
                (double X, double Y) expected = kind == "outer edge" ? outer : DiscCircles.Middle(fit, k, rho);
                if (kind == "shadow")
                {
                    Vector<double> values = DiscCircles.Values(fit);
                    expected.X += DiscCircles.Decentre(fit, k, 0, coma: false) * values / fit.Optics.PitchUm;
                    expected.Y += DiscCircles.Decentre(fit, k, 1, coma: false) * values / fit.Optics.PitchUm;
                }

                Draw(model, state, k, expected, units);
                if (Trace(fit, cutout, model, units, k, expected, (from, to)) is { } trace)
                {
                    double b = cutout.Binning;
                    double bright = Math.Sqrt((trace.Values[1] * trace.Values[1]) + (trace.Values[2] * trace.Values[2])) / trace.Values[0];
                    double unsure = Math.Sqrt((trace.Sigma[1] * trace.Sigma[1] / 2) + (trace.Sigma[2] * trace.Sigma[2] / 2)) / trace.Values[0];
                    found.Add(new AlignmentRing(k, kind, (at + trace.Values[5]) / rim * (rim * fit.Optics.PitchUm / DiscCircles.BlurRadiusUm(fit, k)),
                        b * (at + trace.Values[5]),
                        new Measured(b * (expected.X - outer.X + trace.Values[3]), b * trace.Sigma[3], "pix"),
                        new Measured(b * (expected.Y - outer.Y + trace.Values[4]), b * trace.Sigma[4], "pix"),
                        b * (expected.X - outer.X), b * (expected.Y - outer.Y), new Measured(bright, unsure, ""),
                        Math.Atan2(trace.Values[2], trace.Values[1]) * 180 / Math.PI));
                }
            }
        }

        return found;
    }

    // The round image with its middle at a place of the window, and its derivatives.
    private static void Draw(PairModel model, PairState state, int k, (double X, double Y) at, SplitMatrix[] units)
    {
        int half = model.Optics.Window / 2;
        double per = model.Optics.PixelsPerTiltNm * model.Optics.Stretch[k];
        (state.TiltXNm[k], state.TiltYNm[k]) = ((at.X - half) / per, (at.Y - half) / per);
        model.Evaluate(state);
        model.Jacobian.Fill(state, 0, units);
    }

    private static double[] Profile(ReadOnlySpan<float> image, int w, (double X, double Y) middle)
    {
        var sums = new double[(int)(w / Bin)];
        var counts = new double[sums.Length];
        for (int at = 0; at < w * w; at++)
        {
            int bin = (int)(Math.Sqrt(Math.Pow((at % w) - middle.X, 2) + Math.Pow((at / w) - middle.Y, 2)) / Bin);
            if (bin < sums.Length)
            {
                sums[bin] += image[at];
                counts[bin]++;
            }
        }

        return [.. sums.Select((s, i) => counts[i] > 0 ? s / counts[i] : double.NaN)];
    }

    // Zones of the edges and of the bright rings between them, each from the dark ring before to the one after.
    private static List<(string Kind, double At, double From, double To)> Zones(double[] profile, double rim, double shadow)
    {
        double Radius(int bin) => (bin + 0.5) * Bin;
        int last = Math.Min(profile.Length - 1, (int)(1.3 * rim / Bin));
        double level = Enumerable.Range(0, last).Where(i => Radius(i) < rim && Radius(i) > shadow && double.IsFinite(profile[i])).Select(i => profile[i])
            .DefaultIfEmpty().Average();
        var bright = new List<int>();
        var dark = new List<int>();
        int candidate = 0;
        bool rising = true;
        for (int i = 1; i <= last; i++)
        {
            if (!double.IsFinite(profile[i]))
            {
                continue;
            }

            bool further = rising ? profile[i] > profile[candidate] : profile[i] < profile[candidate];
            if (further || !double.IsFinite(profile[candidate]))
            {
                candidate = i;
            }
            else if (Math.Abs(profile[i] - profile[candidate]) > Prominence * level)
            {
                (rising ? bright : dark).Add(candidate);
                (candidate, rising) = (i, !rising);
            }
        }

        var zones = new List<(string, double, double, double)>();
        if (bright.Count == 0)
        {
            return zones;
        }

        double reach = Math.Max(3, 0.15 * rim);
        if (shadow > 2)
        {
            int first = bright.FindIndex(i => Radius(i) > shadow);
            if (first >= 0)
            {
                zones.Add(("shadow", shadow, Math.Max(0, shadow - reach), Radius(bright[first])));
            }
        }

        for (int r = 0; r < bright.Count; r++)
        {
            double at = Radius(bright[r]);
            double from = dark.Where(d => d < bright[r]).Select(Radius).DefaultIfEmpty(Math.Max(0, at - reach)).Max();
            double to = dark.Where(d => d > bright[r]).Select(Radius).DefaultIfEmpty(double.NaN).Min();
            if (double.IsFinite(to) && at > Math.Max(2, shadow) && at < rim && to - from > 2)
            {
                zones.Add(("ring", at, from, to));
            }
        }

        zones.Add(("outer edge", rim, Radius(bright[^1]), rim + reach));
        return zones;
    }

    private static (double[] Values, double[] Sigma)? Trace(DiscFit fit, DiscCutout cutout, PairModel model, SplitMatrix[] units, int k,
        (double X, double Y) at, (double From, double To) zone)
    {
        int w = cutout.Data.Window;
        ReadOnlySpan<float> image = model.Pixels.Part(k), byX = units[1].Part(k), byY = units[2].Part(k);
        double per = model.Optics.PixelsPerTiltNm * model.Optics.Stretch[k], flux = fit.State.Flux[k], twice = cutout.Count == 1 ? 2 : 1;
        var normal = Matrix<double>.Build.Dense(Columns, Columns);
        var side = Vector<double>.Build.Dense(Columns);
        double[] row = new double[Columns];
        double squares = 0;
        int count = 0;
        for (int p = 0; p < w * w; p++)
        {
            double dx = (p % w) - at.X, dy = (p / w) - at.Y, r = Math.Sqrt((dx * dx) + (dy * dy));
            double weight = twice * fit.Fit.Weights[0][k][p];
            if (r < zone.From || r > zone.To || r == 0 || weight <= 0)
            {
                continue;
            }

            // The image's derivative by its place; along the radius it is that by the size.
            double c = dx / r, s = dy / r, gx = flux * byX[p] / per, gy = flux * byY[p] / per, radial = (c * gx) + (s * gy);
            (row[0], row[1], row[2]) = (flux * image[p], flux * image[p] * c, flux * image[p] * s);
            (row[3], row[4], row[5]) = (gx, gy, radial);
            (row[6], row[7]) = (radial * ((c * c) - (s * s)), radial * 2 * c * s);
            double value = cutout.Data.Electrons[k][p] - fit.State.Background[k];
            for (int i = 0; i < Columns; i++)
            {
                side[i] += weight * row[i] * value;
                for (int j = 0; j < Columns; j++)
                {
                    normal[i, j] += weight * row[i] * row[j];
                }
            }

            squares += weight * value * value;
            count++;
        }

        if (count < LeastPixels || PositiveDefinite.Inverse(normal) is not { } inverse)
        {
            return null;
        }

        Vector<double> found = inverse * side;
        double chi = Math.Max(1, (squares - (found * side)) / (count - Columns));
        return found[0] > 0.2 ? (found.ToArray(), [.. inverse.Diagonal().Select(v => Math.Sqrt(Math.Max(0, v * chi)))]) : null;
    }
}
