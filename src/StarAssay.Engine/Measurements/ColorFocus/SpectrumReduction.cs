using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>From a frame to the profile across the spectrum in every bin along it.</summary>
/// <remarks>Background from both sides and a profile that neighbors share, against which outliers show: the idea of optimal
/// extraction, Horne 1986, PASP 98, 609.</remarks>
public static class SpectrumReduction
{
    /// <summary>Reduces one frame.</summary>
    public static ReducedSpectrum Reduce(Frame frame, SpectrumRequest request, RunContext context)
    {
        (SpectrumImage image, TraceFinder trace, int first, int end) = Locate(frame, request);
        context.Cancel.ThrowIfCancellationRequested();
        int half = request.HalfWindow > 0 ? request.HalfWindow : WindowFor(trace);
        return Extract(image, trace, first, end, half, request);
    }

    internal static int WindowFor(TraceFinder trace) => (int)Math.Ceiling(3.6 * trace.WideHalfWidth) + 5;

    internal static (SpectrumImage Image, TraceFinder Trace, int First, int End) Locate(Frame frame, SpectrumRequest request)
    {
        SpectrumImage image = SpectrumImage.From(frame, request.Axis);
        int end = request.EndColumn > 0 ? Math.Min(request.EndColumn, image.Width) : image.Width;
        int first = request.FirstColumn;
        if (first < 0 || end - first < 64 || image.Height < 16)
        {
            throw new InputException("color-focus.too-small",
                $"The part of {frame.Name} that is to be measured has {end - first} columns and {image.Height} rows; at least 64 x 16 are needed. Widen the column range or name the right axis.", "first_column", frame.Name);
        }

        InputException.RequireRange(request.Bins, 8, 2000, "bins", "");
        var trace = new TraceFinder(image, first, end);
        trace.Find(request.TraceRow);
        return (image, trace, first, end);
    }

    internal static ReducedSpectrum Extract(SpectrumImage image, TraceFinder trace, int first, int end, int half, SpectrumRequest request)
    {
        var work = new Extraction(image, trace, first, end, half, request);
        return work.Run();
    }

    private sealed class Extraction(SpectrumImage image, TraceFinder trace, int first, int end, int half, SpectrumRequest request)
    {
        private readonly int columns = end - first;
        private readonly List<Note> notes = [.. trace.Notes];
        private readonly string name = image.Frame.Name;
        private readonly int bins = Math.Min(request.Bins, (end - first) / 4);
        private int firstRow;
        private int rows;
        private int[] baseRow = [];
        private double[] y = [];
        private double[] background = [];
        private double[] backgroundSigma = [];
        private double[] values = []; // [column][row], background taken off; NaN = left out
        private bool[] bad = [];
        private double gain;
        private double pixelSigma;

        public ReducedSpectrum Run()
        {
            Window();
            Background();
            MaskClipped();
            gain = image.Frame.GainElectronsPerAdu;
            int rejected = 0;
            bool guess = !double.IsFinite(gain) || gain <= 0;
            if (guess)
            {
                gain = EstimateGain();
                notes.Add(ColorFocusNotes.GainEstimated.Say($"No gain was given; the scatter of the spectrum says {gain:0.00} electrons/adu.", name));
            }

            for (int turn = 0; turn < 2; turn++)
            {
                rejected += RejectOutliers();
            }

            if (rejected > 0)
            {
                notes.Add(ColorFocusNotes.CosmicRays.Say($"{rejected} pixels on the spectrum were left out as cosmic rays or hot pixels.", name));
            }

            return Bin(rejected);
        }

        private void Window()
        {
            y = new double[columns];
            baseRow = new int[columns];
            double low = double.MaxValue, high = double.MinValue;
            for (int c = 0; c < columns; c++)
            {
                y[c] = trace.At(first + c);
                low = Math.Min(low, y[c]);
                high = Math.Max(high, y[c]);
            }

            // One row for all columns of a bin: a step within it would blur the profile that its columns share.
            for (int b = 0; b < bins; b++)
            {
                int c0 = b * columns / bins, c1 = (b + 1) * columns / bins;
                Array.Fill(baseRow, (int)Math.Round(0.5 * (y[c0] + y[c1 - 1])), c0, c1 - c0);
            }

            // One window for all columns; cut where the frame ends, keeping it symmetric enough to hold the profile.
            int below = Math.Min(half, (int)Math.Floor(low) - 1), above = Math.Min(half, image.Height - 2 - (int)Math.Ceiling(high));
            int least = (int)Math.Ceiling(1.5 * trace.WideHalfWidth);
            if (below < Math.Max(3, least) || above < Math.Max(3, least))
            {
                throw new CannotMeasureException("color-focus.off-chip",
                    $"The spectrum lies too close to the edge of {name}: {Math.Max(0, Math.Min(below, above))} rows are left beside it, {Math.Max(3, least)} are needed. Center it, or turn the camera until it runs along the rows.", name);
            }

            if (below < half || above < half)
            {
                notes.Add(ColorFocusNotes.WindowCut.Say($"The profile window of {half} rows on each side of the spectrum was cut to {below} below and {above} above by the edge of the frame.", name));
            }

            firstRow = -below;
            rows = below + above + 1;
        }

        private void Background()
        {
            background = new double[columns];
            backgroundSigma = new double[columns];
            values = new double[columns * rows];
            bad = new bool[columns];
            int side = Math.Max(12, half);
            Span<double> below = stackalloc double[side];
            Span<double> above = stackalloc double[side];
            bool oneSided = false;
            for (int c = 0; c < columns; c++)
            {
                int x = first + c, y0 = baseRow[c];
                int nb = 0, na = 0;
                double centerBelow = 0, centerAbove = 0;
                for (int i = 0; i < side; i++)
                {
                    int yb = y0 + firstRow - 1 - i, ya = y0 + firstRow + rows + i;
                    if (yb >= 0 && Usable(x, yb, y0))
                    {
                        below[nb++] = image.Pixels[(yb * image.Width) + x];
                        centerBelow += yb - y0;
                    }

                    if (ya < image.Height && Usable(x, ya, y0))
                    {
                        above[na++] = image.Pixels[(ya * image.Width) + x];
                        centerAbove += ya - y0;
                    }
                }

                (double mb, double sb, int kb) = nb >= 4 ? Robust.ClippedMean(below[..nb]) : (double.NaN, double.NaN, 0);
                (double ma, double sa, int ka) = na >= 4 ? Robust.ClippedMean(above[..na]) : (double.NaN, double.NaN, 0);
                centerBelow /= Math.Max(nb, 1);
                centerAbove /= Math.Max(na, 1);
                double slope = 0, level;
                if (kb > 0 && ka > 0)
                {
                    slope = (ma - mb) / (centerAbove - centerBelow);
                    level = mb - (slope * centerBelow);
                    backgroundSigma[c] = Math.Sqrt(0.5 * ((sb * sb) + (sa * sa)));
                }
                else if (kb > 0 || ka > 0)
                {
                    oneSided = true;
                    level = kb > 0 ? mb : ma;
                    backgroundSigma[c] = kb > 0 ? sb : sa;
                }
                else
                {
                    // No sky beside the profile: the window's own ends must do.
                    oneSided = true;
                    double e1 = image.Pixels[((y0 + firstRow) * image.Width) + x], e2 = image.Pixels[((y0 + firstRow + rows - 1) * image.Width) + x];
                    level = Math.Min(e1, e2);
                    backgroundSigma[c] = double.NaN;
                }

                background[c] = level;
                for (int r = 0; r < rows; r++)
                {
                    int row = y0 + firstRow + r;
                    double v = image.Pixels[(row * image.Width) + x];
                    values[(c * rows) + r] = v - level - (slope * (firstRow + r));
                }
            }

            pixelSigma = Robust.Median(backgroundSigma.Where(double.IsFinite));
            if (!(pixelSigma > 0))
            {
                pixelSigma = double.IsFinite(image.Frame.ReadNoiseElectrons) && image.Frame.GainElectronsPerAdu > 0 ? image.Frame.ReadNoiseElectrons / image.Frame.GainElectronsPerAdu : 1;
            }

            if (oneSided)
            {
                notes.Add(ColorFocusNotes.OneSidedBackground.Say("The background was taken on one side of the spectrum only, or at the window's ends; a slope across it stays in the profile.", name));
            }
        }

        private bool Usable(int x, int row, int y0)
        {
            if (!float.IsFinite(image.Pixels[(row * image.Width) + x]))
            {
                return false;
            }

            return double.IsNaN(trace.SecondOffset) || Math.Abs(row - y0 - trace.SecondOffset) > 1.5 * trace.SecondHalf;
        }

        private void MaskClipped()
        {
            int clipped = 0;
            int core = (int)Math.Ceiling(1.5 * trace.WideHalfWidth) + 1;
            for (int c = 0; c < columns; c++)
            {
                int count = 0;
                for (int r = 0; r < rows; r++)
                {
                    int row = baseRow[c] + firstRow + r;
                    if (image.ClippedAt![(row * image.Width) + first + c])
                    {
                        values[(c * rows) + r] = double.NaN;
                        count += Math.Abs(firstRow + r) <= core ? 1 : 0;
                    }
                }

                // One clipped pixel may be a cosmic ray; two side by side on the spectrum are the star.
                if (count >= 2)
                {
                    bad[c] = true;
                    clipped++;
                }
            }

            if (clipped > 0.4 * columns)
            {
                throw new CannotMeasureException("color-focus.saturated",
                    $"The spectrum in {name} is clipped in {100.0 * clipped / columns:0} % of its columns, so its width means nothing. Expose shorter (the brightest color below three quarters of full well).", name);
            }

            if (clipped > 0)
            {
                notes.Add(ColorFocusNotes.SaturatedColumns.Say($"{clipped} columns are clipped and were left out.", name));
            }

            if (double.IsNaN(image.Frame.SaturationAdu))
            {
                notes.Add(ColorFocusNotes.SaturationGuessed.Say("No saturation level was given; give it, so that clipped columns are known for sure.", name));
            }
        }

        private (double[] Template, double[] ColumnFlux) TemplateOf(int c0, int c1)
        {
            var template = new double[rows];
            var flux = new double[c1 - c0];
            for (int c = c0; c < c1; c++)
            {
                for (int r = 0; r < rows; r++)
                {
                    double v = values[(c * rows) + r];
                    flux[c - c0] += double.IsNaN(v) ? 0 : v;
                }
            }

            var list = new double[c1 - c0];
            for (int r = 0; r < rows; r++)
            {
                int n = 0;
                for (int c = c0; c < c1; c++)
                {
                    double v = values[(c * rows) + r];
                    if (!double.IsNaN(v) && flux[c - c0] > 0 && !bad[c])
                    {
                        list[n++] = v / flux[c - c0];
                    }
                }

                template[r] = n > 0 ? Robust.MedianInPlace(list.AsSpan(0, n)) : 0;
            }

            // Columns' fluxes again, by the template, so that a cosmic ray does not count.
            for (int c = c0; c < c1; c++)
            {
                double a = 0, b = 0;
                for (int r = 0; r < rows; r++)
                {
                    double v = values[(c * rows) + r];
                    if (!double.IsNaN(v) && template[r] > 0)
                    {
                        a += v;
                        b += template[r];
                    }
                }

                flux[c - c0] = b > 0 ? a / b : 0;
            }

            return (template, flux);
        }

        private double EstimateGain()
        {
            var ratios = new List<double>();
            for (int b = 0; b < bins; b++)
            {
                int c0 = b * columns / bins, c1 = (b + 1) * columns / bins;
                (double[] template, double[] flux) = TemplateOf(c0, c1);
                double correction = 1 - (Math.PI / 2 / Math.Max(c1 - c0, 2)); // the template is a median of the same columns
                for (int c = c0; c < c1; c++)
                {
                    for (int r = 1; r + 1 < rows; r++)
                    {
                        double model = template[r] * flux[c - c0];
                        double v = values[(c * rows) + r];
                        double bend = 0.35 * Math.Abs(template[r + 1] - template[r - 1]) * Math.Max(flux[c - c0], 0) / 2;
                        if (!double.IsNaN(v) && model > 4 * pixelSigma && bend * bend < 2 * model)
                        {
                            double excess = ((v - model) * (v - model) / correction / 0.4549) - (pixelSigma * pixelSigma);
                            ratios.Add(excess / model);
                        }
                    }
                }
            }

            double inverse = ratios.Count > 50 ? Robust.Median(ratios) : double.NaN;
            return inverse > 0 ? Math.Clamp(1 / inverse, 0.01, 1000) : 1;
        }

        private int RejectOutliers()
        {
            int count = 0;
            for (int b = 0; b < bins; b++)
            {
                int c0 = b * columns / bins, c1 = (b + 1) * columns / bins;
                (double[] template, double[] flux) = TemplateOf(c0, c1);
                double middle = Robust.Median(y[c0..c1]);
                for (int c = c0; c < c1; c++)
                {
                    double f = Math.Max(flux[c - c0], 0);
                    for (int r = 0; r < rows; r++)
                    {
                        double v = values[(c * rows) + r];
                        // The trace runs on within the bin: first-order shift of the shared profile, and what that leaves.
                        double slope = 0.5 * (template[Math.Min(r + 1, rows - 1)] - template[Math.Max(r - 1, 0)]);
                        double off = y[c] - middle;
                        double model = (template[r] - (off * slope)) * f;
                        double bend = (0.1 + (0.4 * Math.Abs(off))) * Math.Abs(slope) * f;
                        double sigma2 = (pixelSigma * pixelSigma) + (Math.Max(model, 0) / gain) + (bend * bend) + (0.0004 * model * model);
                        double d = v - model;
                        if (d * d > 36 * sigma2)
                        {
                            values[(c * rows) + r] = double.NaN;
                            count++;
                        }
                    }
                }
            }

            return count;
        }

        private ReducedSpectrum Bin(int rejected)
        {
            var flux = new double[columns];
            var fluxError = new double[columns];
            for (int b = 0; b < bins; b++)
            {
                int c0 = b * columns / bins, c1 = (b + 1) * columns / bins;
                (double[] template, double[] model) = TemplateOf(c0, c1);
                double sum = template.Where(t => t > 0).Sum();
                for (int c = c0; c < c1; c++)
                {
                    double total = 0, variance = 0;
                    for (int r = 0; r < rows; r++)
                    {
                        double v = values[(c * rows) + r];
                        total += double.IsNaN(v) ? template[r] * model[c - c0] : v;
                        variance += pixelSigma * pixelSigma;
                    }

                    flux[c] = total;
                    fluxError[c] = Math.Sqrt(variance + (Math.Max(total, 0) / gain));
                }
            }

            bool[] inLine = Lines(flux, fluxError);
            var profile = new double[bins, rows];
            var noise = new double[bins, rows];
            var center = new double[bins];
            var subMean = new double[bins];
            var subVariance = new double[bins];
            var width = new double[bins];
            var widthError = new double[bins];
            var snr = new double[bins];
            for (int b = 0; b < bins; b++)
            {
                int c0 = b * columns / bins, c1 = (b + 1) * columns / bins;
                FillBin(b, c0, c1, flux, inLine, profile, noise, out center[b], out subMean[b], out subVariance[b]);
                (width[b], widthError[b], snr[b]) = RobustWidth(profile, noise, b, trace.WideHalfWidth);
            }

            var masked = new bool[columns];
            for (int c = 0; c < columns; c++)
            {
                masked[c] = bad[c] || inLine[c];
            }

            return new ReducedSpectrum
            {
                Name = name,
                TraceY = y,
                Flux = flux,
                FluxError = fluxError,
                Background = background,
                ColumnMasked = masked,
                InLine = inLine,
                BinColumn = center,
                RobustWidth = width,
                RobustWidthError = widthError,
                SignalToNoise = snr,
                Profile = profile,
                NoiseVariance = noise,
                FirstRow = firstRow,
                SubpixelMean = subMean,
                SubpixelVariance = subVariance,
                GainElectronsPerAdu = gain,
                BackgroundSigmaAdu = pixelSigma,
                TracePolynomial = trace.Polynomial,
                TraceScatterPx = trace.Scatter,
                RejectedPixels = rejected,
                Notes = notes,
            };
        }

        private void FillBin(int b, int c0, int c1, double[] flux, bool[] inLine, double[,] profile, double[,] noise, out double center, out double subMean, out double subVariance)
        {
            double wx = 0, w = 0, s = 0, ss = 0;
            for (int c = c0; c < c1; c++)
            {
                if (bad[c] || inLine[c] || !(flux[c] > 0))
                {
                    continue;
                }

                double sub = y[c] - baseRow[c];
                w += flux[c];
                wx += flux[c] * (first + c);
                s += flux[c] * sub;
                ss += flux[c] * sub * sub;
            }

            center = w > 0 ? wx / w : first + (0.5 * (c0 + c1 - 1));
            subMean = w > 0 ? s / w : 0;
            subVariance = w > 0 ? Math.Max(0, (ss / w) - (subMean * subMean)) : 0;
            for (int r = 0; r < rows; r++)
            {
                double sum = 0, good = 0;
                int n = 0;
                for (int c = c0; c < c1; c++)
                {
                    double v = values[(c * rows) + r];
                    if (!bad[c] && !inLine[c] && flux[c] > 0 && !double.IsNaN(v))
                    {
                        sum += v;
                        good += flux[c];
                        n++;
                    }
                }

                bool enough = good > 0.4 * w && n > 0;
                double scale = enough ? w / good : double.NaN;
                profile[b, r] = sum * scale;
                noise[b, r] = enough ? n * pixelSigma * pixelSigma * scale * scale : double.NaN;
            }
        }

        private (double Width, double Error, double Snr) RobustWidth(double[,] profile, double[,] noise, int b, double wide)
        {
            var v = new double[rows];
            var variance = new double[rows];
            double total = 0, totalVariance = 0;
            for (int r = 0; r < rows; r++)
            {
                double p = profile[b, r];
                v[r] = double.IsNaN(p) ? 0 : p;
                variance[r] = double.IsNaN(p) ? 0 : noise[b, r] + (Math.Max(p, 0) / gain);
                total += v[r];
                totalVariance += variance[r];
            }

            double snr = totalVariance > 0 ? total / Math.Sqrt(totalVariance) : 0;
            if (!(snr > 3))
            {
                return (double.NaN, double.NaN, Math.Max(0, snr));
            }

            (double left, double densityLeft) = Quantile(v, total, 0.158655);
            (double right, double densityRight) = Quantile(v, total, 0.841345);
            double error = 0;
            for (int r = 0; r < rows; r++)
            {
                double belowLeft = Math.Clamp(left - r + 0.5, 0, 1), belowRight = Math.Clamp(right - r + 0.5, 0, 1);
                double g = 0.5 * ((-(belowRight - 0.841345) / densityRight) + ((belowLeft - 0.158655) / densityLeft));
                error += g * g * variance[r];
            }

            _ = wide;
            return (0.5 * (right - left), Math.Sqrt(error), snr);
        }

        private static (double At, double Density) Quantile(double[] v, double total, double share)
        {
            double sum = 0;
            for (int r = 0; r < v.Length; r++)
            {
                if (sum + v[r] >= share * total && v[r] > 0)
                {
                    // row r covers r - 0.5 ... r + 0.5
                    return (r - 0.5 + (((share * total) - sum) / v[r]), v[r]);
                }

                sum += v[r];
            }

            return (v.Length - 0.5, Math.Max(v[^1], 1e-12));
        }

        private bool[] Lines(double[] flux, double[] fluxError)
        {
            var inLine = new bool[columns];
            if (request.LineDepth <= 0)
            {
                return inLine;
            }

            int reach = Math.Max(12, columns / 40);
            var near = new List<double>(2 * reach);
            int count = 0;
            var smooth = new double[columns];
            for (int c = 0; c < columns; c++)
            {
                int a = Math.Max(0, c - 1), z = Math.Min(columns - 1, c + 1);
                smooth[c] = (flux[a] + flux[c] + flux[z]) / 3;
            }

            for (int c = 0; c < columns; c++)
            {
                // Continuum: a line through the medians of the stretches to the left and right, so that a flank is no line.
                int a = Math.Max(0, c - reach), z = Math.Min(columns - 1, c + reach);
                near.Clear();
                for (int i = a; i <= c; i++)
                {
                    near.Add(smooth[i]);
                }

                double left = Robust.Median(near);
                double leftAt = 0.5 * (a + c);
                near.Clear();
                for (int i = c; i <= z; i++)
                {
                    near.Add(smooth[i]);
                }

                double right = Robust.Median(near);
                double rightAt = 0.5 * (c + z);
                double continuum = rightAt > leftAt ? left + ((right - left) * (c - leftAt) / (rightAt - leftAt)) : left;
                double depth = Math.Abs(smooth[c] - continuum);
                inLine[c] = continuum > 0 && depth > request.LineDepth * continuum && depth > 4 * fluxError[c] / Math.Sqrt(3);
                count += inLine[c] ? 1 : 0;
            }

            if (count > 0)
            {
                notes.Add(ColorFocusNotes.LinesMasked.Say($"{count} columns lie in lines that depart from the continuum by more than {100 * request.LineDepth:0} % and were left out.", name));
            }

            return inLine;
        }
    }
}
