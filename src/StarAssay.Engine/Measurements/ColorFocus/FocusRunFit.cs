using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Signed focus of every bin from all frames of a focus run at once; each frame has its own seeing.</summary>
internal static class FocusRunFit
{
    // How far the blur of one color may depart from lambda^-1/5, standard deviation of its logarithm: telescopes,
    // outer scale and guiding add what no law covers.
    private const double BlurFreedom = 0.05;

    public static ColorFocusResult Fit(ColorFocusInput input, ColorFocusRequest request, RunContext context)
    {
        int[] bins = [.. Enumerable.Range(0, input.Bins).Where(j => input.Used[j])];
        double[] position = request.PositionUm;
        double[] start = Start(input, request, bins, position);
        ProfileFit fit = Run(input, request, bins, position, start, request.FocalRatio, context);
        double[] byOrder = new double[bins.Length];
        SecondOrderRemoval? removal = SecondOrderRemoval.Predict(input, request, bins, fit.X);
        if (removal is not null)
        {
            (bins, fit, byOrder) = Overlapped(input, request, bins, position, fit, removal, context);
            removal.Say(input);
        }

        context.Report(0.7, "bootstrap");
        Measured focalRatio = CheckFocalRatio(input, request, bins, position, fit, removal, context);
        double scale = fit.Scale;
        double[][] replicates = fit.LinearBootstrap(request.Replicates, request.Seed, context);
        int n = input.Frames;
        double[] z = [.. Enumerable.Range(0, bins.Length).Select(k => fit.X[n + k])];
        double[] sigma = [.. Enumerable.Range(0, bins.Length).Select(k => Math.Sqrt((scale * scale * fit.Covariance[n + k, n + k]) + (byOrder[k] * byOrder[k])))];
        var amount = new Random(unchecked(request.Seed + 5));
        foreach (double[] replicate in replicates)
        {
            double share = ProfileFit.Gaussian(amount);
            for (int k = 0; k < bins.Length; k++)
            {
                replicate[n + k] += share * byOrder[k];
            }
        }

        double[][] zs = [.. replicates.Select(r => r[n..(n + bins.Length)])];
        double[] seeing = [.. Enumerable.Range(0, n).Select(i => Math.Exp(fit.X[i]) * input.PitchUm)];
        double[] bend = input.LineBend(bins, z, position, request.FocalRatio, seeing.Average() / input.PitchUm);
        return CurveAssembly.Assemble(input, request, bins, z, sigma, zs, seeing, position, scale, focalRatio, bend);
    }

    /// <summary>The same fit with the bins under the second order, and what an error of its amount does to each bin, um.</summary>
    private static (int[] Bins, ProfileFit Fit, double[] ByAmount) Overlapped(ColorFocusInput input, ColorFocusRequest request, int[] clean, double[] position,
        ProfileFit fit, SecondOrderRemoval removal, RunContext context)
    {
        int n = input.Frames;
        int[] bins = [.. clean.Concat(removal.Bins).Order()];
        foreach (int j in removal.Bins)
        {
            input.Used[j] = true;
        }

        var start = new double[n + (2 * bins.Length)];
        Array.Copy(fit.X, start, n);
        for (int k = 0; k < bins.Length; k++)
        {
            int nearest = Enumerable.Range(0, clean.Length).MinBy(c => Math.Abs(clean[c] - bins[k]));
            start[n + k] = fit.X[n + nearest];
        }

        ProfileFit whole = Run(input, request, bins, position, start, request.FocalRatio, context, removal);
        ProfileFit more = Run(input, request, bins, position, whole.X, request.FocalRatio, context, removal.Times(1 + removal.RelativeError));
        return (bins, whole, [.. Enumerable.Range(0, bins.Length).Select(k => more.X[n + k] - whole.X[n + k])]);
    }

    private static ProfileFit Run(ColorFocusInput input, ColorFocusRequest request, int[] bins, double[] position, double[] start, double focalRatio, RunContext context, SecondOrderRemoval? removal = null, bool full = true)
    {
        int n = input.Frames, m = bins.Length;
        ProfileGrid[] grids = input.Grids();
        var blocks = new List<ProfileBlock>();
        var defocus = new List<LinearMap>();
        var seeing = new List<LinearMap>();
        for (int i = 0; i < n; i++)
        {
            for (int k = 0; k < m; k++)
            {
                if (!(input.Spectra[i].SignalToNoise[bins[k]] > 6))
                {
                    continue;
                }

                ProfileBlock block = input.Block(grids, i, bins[k], request, focalRatio, removal?.Profile(i, bins[k]));
                if (block.UsedRows < 8)
                {
                    continue;
                }

                blocks.Add(block);
                defocus.Add(new LinearMap([n + k], [-1], position[i]));
                seeing.Add(new LinearMap([i, n + m + k], [1, 1], -0.2 * Math.Log(input.Nm[bins[k]] / 550)));
            }
        }

        var mean = new double[n + (2 * m)];
        var sigma = new double[mean.Length];
        for (int i = 0; i < mean.Length; i++)
        {
            mean[i] = i < n ? start[i] : i < n + m ? start[i] : 0;
            sigma[i] = i < n ? 3 : i < n + m ? 1e7 : BlurFreedom;
        }

        var fit = new ProfileFit(blocks, defocus, seeing, mean, sigma);
        fit.Run(start, context, full ? 40 : 4, reweight: full, covariance: full);
        return fit;
    }

    private static double[] Start(ColorFocusInput input, ColorFocusRequest request, int[] bins, double[] position)
    {
        // Width^2 against position is a parabola whose curvature the focal ratio gives: the 68 % half width of a disc's
        // profile is 0.265 of its diameter, so width^2 = w0^2 + (0.265 (z - z0) / N)^2.
        int n = input.Frames, m = bins.Length;
        var start = new double[n + (2 * m)];
        double smallest = double.MaxValue;
        double low = position.Min(), high = position.Max(), reach = high - low;
        for (int k = 0; k < m; k++)
        {
            // Vertex by least squares of w^2 - a z^2 = c - 2 a z0 z; wide profiles count less (their noise grows with w).
            double a = Math.Pow(0.265 / request.FocalRatio / input.PitchUm, 2);
            double s = 0, sz = 0, szz = 0, sy = 0, szy = 0;
            for (int i = 0; i < n; i++)
            {
                double w = input.Spectra[i].RobustWidth[bins[k]];
                if (!double.IsFinite(w))
                {
                    continue;
                }

                smallest = Math.Min(smallest, w);
                double weight = 1 / Math.Pow(w, 2), y = (w * w) - (a * position[i] * position[i]);
                s += weight;
                sz += weight * position[i];
                szz += weight * position[i] * position[i];
                sy += weight * y;
                szy += weight * position[i] * y;
            }

            double slope = ((s * szy) - (sz * sy)) / ((s * szz) - (sz * sz));
            double z0 = -slope / (2 * a);
            start[n + k] = double.IsFinite(z0) ? Math.Clamp(z0, low - reach, high + reach) : 0.5 * (low + high);
        }

        for (int i = 0; i < n; i++)
        {
            // Kolmogorov: half the 68 % range of the profile is about 0.46 FWHM (from the model itself).
            start[i] = Math.Log(Math.Max(0.8, smallest / 0.5));
        }

        return start;
    }

    private static Measured CheckFocalRatio(ColorFocusInput input, ColorFocusRequest request, int[] bins, double[] position, ProfileFit fit, SecondOrderRemoval? removal, RunContext context)
    {
        if (position.Distinct().Count() < 5)
        {
            return Measured.None("");
        }

        // chi^2 against the logarithm of the focal ratio is a parabola; three points give its foot and width.
        const double Step = 0.03;
        double chi0 = Run(input, request, bins, position, fit.X, request.FocalRatio, context, removal, false).ChiSquare;
        double chiMinus = Run(input, request, bins, position, fit.X, request.FocalRatio * Math.Exp(-Step), context, removal, false).ChiSquare;
        double chiPlus = Run(input, request, bins, position, fit.X, request.FocalRatio * Math.Exp(Step), context, removal, false).ChiSquare;
        double curvature = (chiPlus + chiMinus - (2 * chi0)) / (Step * Step);
        if (!(curvature > 0))
        {
            return Measured.None("");
        }

        double foot = -(chiPlus - chiMinus) / (2 * Step) / curvature;
        double sigma = Math.Sqrt(2 / curvature) * fit.Scale;
        if (Math.Abs(foot) > 0.15)
        {
            foot = Math.Sign(foot) * 0.15; // the parabola says no more than "far off"
        }

        double value = request.FocalRatio * Math.Exp(foot);
        if (Math.Abs(foot) > Math.Max(0.02, 4 * sigma))
        {
            input.Notes.Add(ColorFocusNotes.FocalRatioDiffers.Say(
                $"The blur grows with the focuser as at f/{value:0.00}, not f/{request.FocalRatio:0.00}. Check aperture, focal length and the focuser's scale: shifts in um are only as good as that scale."));
        }

        return new Measured(value, value * sigma, "");
    }
}

/// <summary>From bins to the curve: zero at the reference, smooth curve, errors, removal of the grating's share.</summary>
internal static class CurveAssembly
{
    // Share of the size of what lines do to a profile that is taken as a standard uncertainty: found on simulated spectra.
    private const double LineShare = 0.8;

    public static ColorFocusResult Assemble(ColorFocusInput input, ColorFocusRequest request, int[] bins, double[] z, double[] sigma, double[][] replicates,
        double[] seeingUm, double[] position, double noiseScale, Measured focalRatio, double[]? lineBend, SingleCurve? single = null)
    {
        int m = bins.Length, count = replicates.Length;
        bool fromRun = single is null;
        (double[] removed, double[] removedError) = input.Removal(request);
        double[] nm = [.. bins.Select(j => input.Nm[j])];
        double referenceNm = Math.Clamp(request.ReferenceNm, nm.Min(), nm.Max());
        double[] corrected = [.. z.Select((v, k) => v + removed[bins[k]])];
        double[]? givenSmooth = single?.Smooth, openSign = single?.OpenSign;
        double[][]? givenReplicates = single?.Replicates;
        SmoothCurve curve = single?.Curve ?? new SmoothCurve(nm.Min(), nm.Max());
        double[] smoothAll, smoothError;
        double referenceFocus;
        double[] referenceReplicates = new double[count];
        var smoothReplicates = new double[count, input.Bins];
        double smoothScale = 1;
        if (givenSmooth is null)
        {
            double[] line = [.. lineBend!.Select(v => LineShare * v)];
            double[] steep = SlopeError(nm, corrected);
            double[] weights = [.. sigma.Select((s, k) => Math.Sqrt((s * s) + Square(removedError[bins[k]]) + Square(steep[k]) + Square(line[k])))];
            double floor = Robust.Median(weights) / 5;
            weights = [.. weights.Select(w => Math.Max(w, floor))];
            int degree = Choose(curve, nm, corrected, weights, out smoothScale);
            Matrix<double> solve = curve.Operator(nm, weights, degree);
            double[] coefficients = (solve * Vector<double>.Build.DenseOfArray(corrected)).ToArray();
            double[] atReference = curve.Basis(referenceNm, degree);
            referenceFocus = SmoothCurve.Dot(atReference, coefficients);
            smoothAll = [.. input.Nm.Select(w => SmoothCurve.Dot(curve.Basis(Math.Clamp(w, nm.Min(), nm.Max()), degree), coefficients) - referenceFocus)];
            var random = new Random(request.Seed);
            for (int b = 0; b < count; b++)
            {
                // What lines do is partly the same in all bins: the fall of the light toward the violet that they make together.
                double common = ProfileFit.Gaussian(random);
                for (int k = 0; k < m; k++)
                {
                    replicates[b][k] += (steep[k] * ProfileFit.Gaussian(random)) + (line[k] * ((0.8 * ProfileFit.Gaussian(random)) + (0.6 * common)));
                }

                double[] values = [.. replicates[b].Select((v, k) => (smoothScale * (v - z[k])) + corrected[k])];
                double[] c = (solve * Vector<double>.Build.DenseOfArray(values)).ToArray();
                referenceReplicates[b] = SmoothCurve.Dot(atReference, c);
                for (int j = 0; j < input.Bins; j++)
                {
                    smoothReplicates[b, j] = SmoothCurve.Dot(curve.Basis(Math.Clamp(input.Nm[j], nm.Min(), nm.Max()), degree), c) - referenceReplicates[b];
                }
            }
        }
        else
        {
            // Already smooth (single spectrum): only the zero and the removal are left.
            double removedAtReference = ColorFocusInput.Interpolate(input.Nm, removed, referenceNm);
            referenceFocus = ColorFocusInput.Interpolate(input.Nm, givenSmooth, referenceNm) + removedAtReference;
            smoothAll = [.. givenSmooth.Select((v, j) => v + removed[j] - referenceFocus)];
            for (int b = 0; b < count; b++)
            {
                referenceReplicates[b] = ColorFocusInput.Interpolate(input.Nm, givenReplicates![b], referenceNm) + removedAtReference;
                for (int j = 0; j < input.Bins; j++)
                {
                    smoothReplicates[b, j] = givenReplicates[b][j] + removed[j] - referenceReplicates[b];
                }
            }
        }

        // Where the sign is open the error reaches the value of the other sign; that of the zero moves every bin.
        double openReference = openSign is null ? 0 : ColorFocusInput.Interpolate(input.Nm, openSign, referenceNm);
        double Open(int j) => openSign is null ? 0 : openSign[j] + openReference;
        double[] scaleError = AddScaleError(smoothReplicates, smoothAll, input, request, referenceNm);
        smoothError = new double[input.Bins];
        for (int j = 0; j < input.Bins; j++)
        {
            smoothError[j] = Math.Sqrt(Square(Spread(Enumerable.Range(0, count).Select(b => smoothReplicates[b, j]))) + Square(removedError[j]) + Square(Open(j)));
        }

        double[] shift = new double[input.Bins], error = new double[input.Bins];
        Array.Fill(shift, double.NaN);
        Array.Fill(error, double.NaN);
        double referenceError = Spread(referenceReplicates);
        for (int k = 0; k < m; k++)
        {
            int j = bins[k];
            shift[j] = corrected[k] - referenceFocus;
            double own = fromRun
                ? Math.Sqrt(Square(smoothScale * Spread(Enumerable.Range(0, count).Select(b => replicates[b][k] - (referenceReplicates[b] / smoothScale)))) + Square(scaleError[j]))
                : Math.Sqrt(Square(sigma[k]) + Square(Spread(Enumerable.Range(0, count).Select(b => smoothReplicates[b, j])))); // its own noise, and what all bins share
            error[j] = Math.Sqrt(Square(own) + Square(removedError[j]) + Square(Open(j)));
        }

        double[] usedSmooth = [.. bins.Select(j => smoothAll[j])];
        double range = usedSmooth.Max() - usedSmooth.Min();
        double[] ranges = [.. Enumerable.Range(0, count).Select(b => bins.Max(j => smoothReplicates[b, j]) - bins.Min(j => smoothReplicates[b, j]))];
        double rangeError = Spread(ranges);
        double[] defocus = [.. Enumerable.Range(0, input.Bins).Select(j => single is null ? double.NaN : Math.Abs(single.Smooth[j]))];
        if (single is { Decided: false })
        {
            range = bins.Max(j => defocus[j]) - bins.Min(j => defocus[j]);
            rangeError = Math.Max(rangeError, Robust.Median(bins.Select(j => single.SizeError[j])));
        }

        double flatness = usedSmooth.Select((v, k) => Square((v - usedSmooth.Average()) / Math.Max(smoothError[bins[k]], 1e-9))).Average();
        if (noiseScale > 1.5)
        {
            input.Notes.Add(ColorFocusNotes.PoorFit.Say($"Profiles scatter {noiseScale:0.0} times as much about the model as noise explains (aberrations, guiding, or a wrong gain); errors were enlarged by that."));
        }

        if (smoothScale > 1.5)
        {
            input.Notes.Add(ColorFocusNotes.PoorFit.Say($"Bins scatter {smoothScale:0.0} times as much about the smooth curve as their own errors say (lines, dust on the slit, overlapping light); errors were enlarged by that."));
        }

        if (fromRun)
        {
            int outside = z.Count(v => v < position.Min() || v > position.Max());
            if (outside > 0)
            {
                input.Notes.Add(ColorFocusNotes.OneSided.Say($"{outside} of {m} bins focus outside the range of the focus run, so that their place rests on the model of the blur alone. Widen the run."));
            }
        }

        double depth = 2 * referenceNm / 1000 * request.FocalRatio * request.FocalRatio;
        if (flatness < 2 || range < 0.25 * depth)
        {
            input.Notes.Add(ColorFocusNotes.Flat.Say($"The curve is flat: its range of {range:0.#} um compares with errors of {Robust.Median(bins.Select(j => smoothError[j])):0.#} um and a depth of focus of +-{depth:0.#} um."));
        }

        var width = new double[input.Frames, input.Bins];
        var widthError = new double[input.Frames, input.Bins];
        for (int i = 0; i < input.Frames; i++)
        {
            for (int j = 0; j < input.Bins; j++)
            {
                width[i, j] = input.Spectra[i].RobustWidth[j] * input.PitchUm;
                widthError[i, j] = input.Spectra[i].RobustWidthError[j] * input.PitchUm;
            }
        }

        return new ColorFocusResult
        {
            FromFocusRun = fromRun,
            WavelengthNm = input.Nm,
            ShiftUm = shift,
            ShiftErrorUm = error,
            Used = input.Used,
            SmoothUm = smoothAll,
            SmoothErrorUm = smoothError,
            ReplicateUm = smoothReplicates,
            DefocusSizeUm = defocus,
            DefocusSizeErrorUm = single?.SizeError ?? [.. defocus],
            SignDecided = [.. Enumerable.Range(0, input.Bins).Select(j => single is null || single.OpenSign[j] == 0)],
            SignsDecided = single?.Decided ?? true,
            RemovedUm = removed,
            RelativeFlux = input.RelativeFlux,
            RobustWidthUm = width,
            RobustWidthErrorUm = widthError,
            SeeingUm = seeingUm,
            PositionUm = position,
            ReferenceFocus = new Measured(referenceFocus, referenceError, "um"),
            ReferenceNm = referenceNm,
            Range = new Measured(range, rangeError, "um"),
            FocalRatioFromBlur = focalRatio,
            NoiseScale = noiseScale,
            ColumnShift = input.ColumnShift,
            SecondOrderFromNm = input.SecondOrderFromNm,
            Notes = [.. input.Notes.OrderByDescending(x => x.Level)],
        };
    }

    /// <summary>Within a bin the curve itself slopes, and cosmic rays shift its mean wavelength: two hundredths of the curve's rise
    /// within the bin are taken as a standard uncertainty (found on simulated spectra).</summary>
    private static double[] SlopeError(double[] nm, double[] z)
    {
        int m = nm.Length;
        var error = new double[m];
        for (int k = 0; k < m; k++)
        {
            int a = Math.Max(0, k - 2), b = Math.Min(m - 1, k + 2);
            error[k] = 0.02 * Math.Abs((z[b] - z[a]) / (b - a));
        }

        return error;
    }

    /// <summary>A shift of the whole wavelength scale moves every bin by the curve's slope there.</summary>
    private static double[] AddScaleError(double[,] replicates, double[] smooth, ColorFocusInput input, ColorFocusRequest request, double referenceNm)
    {
        int n = input.Bins;
        double perColumn = Math.Abs(input.Nm[^1] - input.Nm[0]) / Math.Max(1, Math.Abs(input.Spectra[0].BinColumn[^1] - input.Spectra[0].BinColumn[0]));
        var slope = new double[n];
        for (int j = 0; j < n; j++)
        {
            int a = Math.Max(0, j - 1), b = Math.Min(n - 1, j + 1);
            slope[j] = (smooth[b] - smooth[a]) / (input.Nm[b] - input.Nm[a]);
        }

        double atReference = ColorFocusInput.Interpolate(input.Nm, slope, referenceNm);
        var random = new Random(unchecked(request.Seed + 77));
        for (int r = 0; r < replicates.GetLength(0); r++)
        {
            double shift = request.WavelengthErrorColumns * perColumn * ProfileFit.Gaussian(random);
            for (int j = 0; j < n; j++)
            {
                replicates[r, j] += shift * (slope[j] - atReference);
            }
        }

        return [.. slope.Select(s => request.WavelengthErrorColumns * perColumn * Math.Abs(s - atReference))];
    }

    internal static double Spread(IEnumerable<double> values)
    {
        double[] v = [.. values];
        double mean = v.Average();
        return Math.Sqrt(v.Sum(x => (x - mean) * (x - mean)) / Math.Max(1, v.Length - 1));
    }

    private static double Square(double x) => x * x;

    private static int Choose(SmoothCurve curve, double[] nm, double[] value, double[] sigma, out double scale)
    {
        int best = 0;
        double bestScore = double.MaxValue;
        scale = 1;
        int most = Math.Min(9, nm.Length / 3);
        double[] chi = new double[most + 1];
        for (int degree = 0; degree <= most; degree++)
        {
            double[] c = (curve.Operator(nm, sigma, degree) * Vector<double>.Build.DenseOfArray(value)).ToArray();
            chi[degree] = nm.Select((w, i) => Square((value[i] - SmoothCurve.Dot(curve.Basis(w, degree), c)) / sigma[i])).Sum();
        }

        // Schwarz's criterion with the scatter that the richest curve leaves.
        double unit = Math.Max(1, chi[most] / Math.Max(1, nm.Length - most - 1));
        for (int degree = Math.Min(3, most); degree <= most; degree++)
        {
            double score = (chi[degree] / unit) + ((degree + 1) * Math.Log(nm.Length));
            if (score < bestScore)
            {
                bestScore = score;
                best = degree;
                scale = Math.Sqrt(Math.Max(1, chi[degree] / Math.Max(1, nm.Length - degree - 1)));
            }
        }

        return best;
    }
}
