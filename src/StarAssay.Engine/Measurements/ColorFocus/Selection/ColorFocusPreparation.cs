using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>From frames to what both fits work on.</summary>
internal static class ColorFocusPreparation
{
    /// <summary>Reduces the frames, gives the bins their wavelengths and light, and chooses among them.</summary>
    public static ColorFocusInput Prepare(IReadOnlyList<Frame> frames, ColorFocusRequest request, RunContext context)
    {
        var notes = new List<Note>();
        (int first, int end) = Columns(request);
        SpectrumRequest reduction = request.Reduction with { Columns = [first, end] };
        (ReducedSpectrum[] spectra, double[] shift) = RunReduction.Reduce(frames, reduction, notes, context);
        double[] nm = BinWavelengths(spectra[0], request.WavelengthsNm);
        bool measured = !double.IsFinite(request.ShortestLightNm) && !request.OrderFilter && request.Disperser != Disperser.Prism
            && nm.Max() > 2 * BlueEnd.Never;
        double blueEnd = measured ? BlueEnd.Find(frames[frames.Count / 2], request, context) : request.ShortestLightNm;
        BinSelection chosen = BinSelection.Choose(spectra, nm, request with { Reduction = reduction, ShortestLightNm = blueEnd }, notes);
        foreach (ReducedSpectrum s in spectra)
        {
            notes.AddRange(s.Notes);
        }

        return new ColorFocusInput
        {
            Spectra = spectra,
            ColumnShift = shift,
            ColumnNm = request.WavelengthsNm[first..(first + spectra[0].Flux.Length)],
            Nm = nm,
            Used = chosen.Used,
            RelativeFlux = RelativeLight(spectra[frames.Count / 2], nm),
            PitchUm = ColorFocusMeasurement.Pitch(frames, request),
            SecondOrderFromNm = chosen.SecondOrderFromNm,
            SecondOrderPossibleFromNm = measured && !double.IsFinite(blueEnd) ? 2 * BlueEnd.Never : double.PositiveInfinity,
            Order = chosen.Order,
            Removable = chosen.Removable,
            Notes = Merge(notes),
        };
    }

    private static double[] BinWavelengths(ReducedSpectrum spectrum, double[] wave)
    {
        int bins = spectrum.BinColumn.Length;
        var nm = new double[bins];
        for (int j = 0; j < bins; j++)
        {
            double x = Math.Clamp(spectrum.BinColumn[j], 0, wave.Length - 1.001);
            int k = (int)x;
            nm[j] = wave[k] + ((x - k) * (wave[k + 1] - wave[k]));
        }

        return nm;
    }

    private static List<Note> Merge(List<Note> notes)
    {
        // Nine frames say the same things nine times: one note a kind is enough, with the number of frames.
        var result = new List<Note>();
        foreach (IGrouping<string, Note> group in notes.GroupBy(n => n.Code, StringComparer.Ordinal))
        {
            Note head = group.First();
            int n = group.Count();
            result.Add(n == 1 ? head : head with
            {
                Text = $"{head.Text} (The same in {n} frames; this is " +
                $"{(head.Subject.Length > 0 ? head.Subject : "the first")}.)"
            });
        }

        return result;
    }

    private static (int First, int End) Columns(ColorFocusRequest request)
    {
        double[] w = request.WavelengthsNm;
        int first = w.Length, end = 0;
        for (int i = 0; i < w.Length; i++)
        {
            if (w[i] >= request.MinNm && w[i] <= request.MaxNm)
            {
                first = Math.Min(first, i);
                end = Math.Max(end, i + 1);
            }
        }

        if (request.Reduction.Columns.Length == 2)
        {
            first = Math.Max(first, request.Reduction.Columns[0]);
            end = Math.Min(end, request.Reduction.Columns[1]);
        }

        return end - first >= 64
            ? (first, end)
            : throw new InputException("color-focus.band", $"Between {request.MinNm:0} and {request.MaxNm:0} nm lie {Math.Max(0, end - first)} columns; at " +
                "least 64 are needed. Check the wavelength solution and the band.", "min_nm");
    }

    /// <summary>Light per nm in each bin, 1 at the brightest.</summary>
    private static double[] RelativeLight(ReducedSpectrum s, double[] nm)
    {
        int bins = nm.Length, n = s.Flux.Length;
        var light = new double[bins];
        for (int j = 0; j < bins; j++)
        {
            int c0 = j * n / bins, c1 = (j + 1) * n / bins;
            double sum = 0;
            for (int c = c0; c < c1; c++)
            {
                sum += s.Flux[c];
            }

            int a = Math.Max(0, j - 1), b = Math.Min(bins - 1, j + 1);
            double perColumn = Math.Abs(nm[b] - nm[a]) / Math.Max(1e-9, Math.Abs(s.BinColumn[b] - s.BinColumn[a]));
            light[j] = Math.Max(0, sum / (c1 - c0) / Math.Max(perColumn, 1e-9));
        }

        double top = light.Max();
        return [.. light.Select(v => top > 0 ? v / top : 0)];
    }
}
