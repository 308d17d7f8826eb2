using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>From bins to the curve: zero at the reference, smooth curve, errors, removal of the grating's share.</summary>
internal static class CurveAssembly
{
    /// <summary>Makes the result.</summary>
    /// <param name="input">Reduced spectra and bins.</param>
    /// <param name="request">What was asked.</param>
    /// <param name="bins">Bins that were fitted.</param>
    /// <param name="z">Their focus, um.</param>
    /// <param name="sigma">Its standard uncertainty.</param>
    /// <param name="replicates">Bootstrap of z.</param>
    /// <param name="seeingUm">Of each frame, FWHM.</param>
    /// <param name="position">Of the sensor in each frame, um.</param>
    /// <param name="noiseScale">Scatter about the model in units of the noise.</param>
    /// <param name="focalRatio">What the growth of the blur says of it.</param>
    /// <param name="lineBend">What lines may do to each bin, um; only of a run.</param>
    /// <param name="single">The smooth curve; only of a single spectrum.</param>
    public static ColorFocusResult Assemble(ColorFocusInput input, ColorFocusRequest request, int[] bins, double[] z, double[] sigma, double[][] replicates,
        double[] seeingUm, double[] position, double noiseScale, Measured focalRatio, double[]? lineBend, SingleCurve? single = null)
    {
        int m = bins.Length, count = replicates.Length;
        bool fromRun = single is null;
        (double[] removed, double[] removedError) = InstrumentFocus.Removal(input, request);
        double[] nm = [.. bins.Select(j => input.Nm[j])];
        double referenceNm = Math.Clamp(request.ReferenceNm, nm.Min(), nm.Max());
        double[] corrected = [.. z.Select((v, k) => v + removed[bins[k]])];
        CurveThroughBins curve = single is null
            ? CurveThroughBins.FromRun(input, bins, corrected, z, sigma, removedError, lineBend!, replicates, referenceNm, request.Seed)
            : CurveThroughBins.FromSingle(input, single, removed, referenceNm);
        double[] smoothAll = curve.Value, referenceReplicates = curve.ReferenceReplicates;
        double[,] smoothReplicates = curve.Replicates;
        double referenceFocus = curve.ReferenceFocus, smoothScale = curve.Scatter;

        // Where the sign is open the value is one of two, twice the size apart: the standard deviation is that over the root of two. That
        // of the zero moves every bin.
        double[]? openSign = single?.OpenSign;
        double openReference = openSign is null ? 0 : LinearTable.At(input.Nm, openSign, referenceNm);
        double Open(int j) => openSign is null ? 0 : Math.Sqrt(0.5 * (Square(openSign[j]) + Square(openReference)));
        double[] scaleError = AddScaleError(smoothReplicates, smoothAll, input, request, referenceNm);
        var smoothError = new double[input.Bins];
        for (int j = 0; j < input.Bins; j++)
        {
            smoothError[j] = Math.Sqrt(Square(Spread(Enumerable.Range(0, count).Select(b => smoothReplicates[b, j]))) + Square(removedError[j])
                + Square(Open(j)));
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
                ? Math.Sqrt(Square(smoothScale * Spread(Enumerable.Range(0, count).Select(b => replicates[b][k] - (referenceReplicates[b] / smoothScale))))
                    + Square(scaleError[j]))
                // its own noise, and what all bins share
                : Math.Sqrt(Square(sigma[k]) + Square(Spread(Enumerable.Range(0, count).Select(b => smoothReplicates[b, j]))));
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

        rangeError = fromRun ? Math.Sqrt(Square(rangeError) + Square(CurveFigures.PositionScale * range)) : rangeError;
        double flatness = usedSmooth.Select((v, k) => Square((v - usedSmooth.Average()) / Math.Max(smoothError[bins[k]], 1e-9))).Average();
        SayScatter(input, noiseScale, smoothScale);
        if (fromRun)
        {
            SayOutside(input, z, position);
        }

        SayExtrapolated(input, request, nm);
        double depth = 2 * referenceNm / 1000 * request.FocalRatio * request.FocalRatio;
        if (flatness < 2 || range < 0.25 * depth)
        {
            input.Notes.Add(ColorFocusNotes.Flat.Say($"The curve is flat: its range of {range:0.#} um compares with errors of " +
                $"{Robust.Median(bins.Select(j => smoothError[j])):0.#} um and a depth of focus of +-{depth:0.#} um."));
        }

        var width = new double[input.Frames, input.Bins];
        var widthError = new double[input.Frames, input.Bins];
        for (int i = 0; i < input.Frames; i++)
        {
            for (int j = 0; j < input.Bins; j++)
            {
                width[i, j] = input.Spectra[i].WidthPx[j] * input.PitchUm;
                widthError[i, j] = input.Spectra[i].WidthUncertaintyPx[j] * input.PitchUm;
            }
        }

        return new ColorFocusResult
        {
            FromFocusRun = fromRun,
            WavelengthNm = input.Nm,
            ShiftUm = shift,
            ShiftUncertaintyUm = error,
            Used = input.Used,
            SmoothUm = smoothAll,
            SmoothUncertaintyUm = smoothError,
            ReplicatesUm = smoothReplicates,
            DefocusSizeUm = defocus,
            DefocusSizeUncertaintyUm = single?.SizeError ?? [.. defocus],
            SignDecided = [.. Enumerable.Range(0, input.Bins).Select(j => single is null || single.OpenSign[j] == 0)],
            SignsDecided = single?.Decided ?? true,
            RemovedUm = removed,
            RelativeFlux = input.RelativeFlux,
            WidthUm = width,
            WidthUncertaintyUm = widthError,
            SeeingUm = seeingUm,
            PositionsUm = position,
            ReferenceFocus = new Measured(referenceFocus, referenceError, "um"),
            ReferenceNm = referenceNm,
            FocalRatio = request.FocalRatio,
            FocalLengthMm = request.FocalLengthMm,
            Obstruction = request.Obstruction,
            FocusRange = new Measured(range, rangeError, "um"),
            FocalRatioFromBlur = focalRatio,
            NoiseScale = noiseScale,
            ColumnShift = input.ColumnShift,
            SecondOrderFromNm = input.SecondOrderFromNm,
            Notes = [.. input.Notes.OrderByDescending(x => x.Level)],
        };
    }

    private static void SayScatter(ColorFocusInput input, double noiseScale, double smoothScale)
    {
        if (noiseScale > 1.5)
        {
            input.Notes.Add(ColorFocusNotes.PoorFit.Say($"Profiles scatter {noiseScale:0.0} times as much about the model as noise explains (a blur that is " +
                "neither round nor the same in all colors, light of another star or of another order, or a gain that is not the camera's); errors were " +
                "enlarged by that."));
        }

        if (smoothScale > 1.5)
        {
            input.Notes.Add(ColorFocusNotes.PoorFit.Say($"Bins scatter {smoothScale:0.0} times as much about the smooth curve as their own errors say " +
                "(lines, dust on the slit, overlapping light); errors were enlarged by that."));
        }
    }

    private static void SayExtrapolated(ColorFocusInput input, ColorFocusRequest request, double[] nm)
    {
        double low = double.IsFinite(request.ScaleFromNm) ? request.ScaleFromNm : double.NegativeInfinity,
            high = double.IsFinite(request.ScaleToNm) ? request.ScaleToNm : double.PositiveInfinity;
        int beyond = nm.Count(w => w < low - 5 || w > high + 5);
        if (beyond > 0)
        {
            input.Notes.Add(ColorFocusNotes.Extrapolated.Say(
                $"{beyond} of {nm.Length} bins lie beyond the lines that the wavelength scale rests on ({request.ScaleFromNm:0} to {request.ScaleToNm:0} " +
                    "nm): there it is an extrapolation" +
                    $"{(request.WavelengthModesNm.Length > 0 ? ", whose own error the curve's error holds" : string.Empty)}."));
        }
    }

    private static void SayOutside(ColorFocusInput input, double[] z, double[] position)
    {
        int outside = z.Count(v => v < position.Min() || v > position.Max());
        if (outside > 0)
        {
            input.Notes.Add(ColorFocusNotes.OneSided.Say($"{outside} of {z.Length} bins focus outside the range of the focus run, so that their place rests " +
                "on the model of the blur alone. Widen the run."));
        }
    }

    /// <summary>A wavelength scale that is off moves every bin by the curve's slope there: as a whole, and in the scale's own modes.</summary>
    private static double[] AddScaleError(double[,] replicates, double[] smooth, ColorFocusInput input, ColorFocusRequest request, double referenceNm)
    {
        int n = input.Bins;
        double perColumn = Math.Abs(input.Nm[^1] - input.Nm[0]) / Math.Max(1, Math.Abs(input.Spectra[0].BinColumn[^1] - input.Spectra[0].BinColumn[0]));
        var slope = new double[n];
        for (int j = 0; j < n; j++)
        {
            int a = j > 0 && double.IsFinite(smooth[j - 1]) ? j - 1 : j, b = j < n - 1 && double.IsFinite(smooth[j + 1]) ? j + 1 : j;
            slope[j] = a < b ? (smooth[b] - smooth[a]) / (input.Nm[b] - input.Nm[a]) : double.NaN;
        }

        int[] inside = [.. Enumerable.Range(0, n).Where(j => double.IsFinite(slope[j]))];
        double atReference = LinearTable.At([.. inside.Select(j => input.Nm[j])], [.. inside.Select(j => slope[j])], referenceNm);
        double[][] modes = Modes(input, request);
        double[] referenceMode = [.. modes.Select(m => LinearTable.At(input.Nm, m, referenceNm))];
        var random = new Random(unchecked(request.Seed + 77));
        for (int r = 0; r < replicates.GetLength(0); r++)
        {
            double shift = request.WavelengthUncertaintyPx * perColumn * ProfileFit.Gaussian(random);
            double[] share = [.. modes.Select(_ => ProfileFit.Gaussian(random))];
            for (int j = 0; j < n; j++)
            {
                replicates[r, j] += shift * (slope[j] - atReference);
                for (int m = 0; m < modes.Length; m++)
                {
                    replicates[r, j] += share[m] * ((modes[m][j] * slope[j]) - (referenceMode[m] * atReference));
                }
            }
        }

        return [.. slope.Select((s, j) => Math.Sqrt(Square(request.WavelengthUncertaintyPx * perColumn * (s - atReference))
            + modes.Select((m, k) => Square((m[j] * s) - (referenceMode[k] * atReference))).Sum()))];
    }

    /// <summary>How the wavelength of each bin is off in each of the scale's modes, nm.</summary>
    private static double[][] Modes(ColorFocusInput input, ColorFocusRequest request)
    {
        int width = request.WavelengthsNm.Length, count = request.WavelengthModesNm.Length / width;
        return [.. Enumerable.Range(0, count).Select(m =>
            input.Spectra[0].BinColumn.Select(x => request.WavelengthModesNm[(m * width) + (int)Math.Clamp(Math.Round(x), 0, width - 1)]).ToArray())];
    }

    /// <summary>Standard deviation.</summary>
    internal static double Spread(IEnumerable<double> values)
    {
        double[] v = [.. values];
        double mean = v.Average();
        return Math.Sqrt(v.Sum(x => (x - mean) * (x - mean)) / Math.Max(1, v.Length - 1));
    }

    private static double Square(double x) => x * x;
}
