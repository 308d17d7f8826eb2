using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Reduces every frame of a run with one window and lines the spectra up along the dispersion.</summary>
internal static class RunReduction
{
    /// <summary>Reduced spectra, and how far each lies from the first, columns.</summary>
    public static (ReducedSpectrum[] Spectra, double[] Shift) Reduce(IReadOnlyList<Frame> frames, SpectrumRequest reduction, List<Note> notes,
        RunContext context)
    {
        int count = frames.Count, first = reduction.Columns[0], end = reduction.Columns[1];
        var located = new (SpectrumImage Image, TraceFinder Trace, int First, int End)[count];
        RunAll(count, context, i => located[i] = SpectrumReduction.Locate(frames[i], reduction));
        int half = reduction.HalfWindow > 0 ? reduction.HalfWindow : located.Max(l => SpectrumReduction.WindowFor(l.Trace));
        // Every frame of a run must have the same window: the lowest room any trace leaves.
        var spectra = new ReducedSpectrum[count];
        RunAll(count, context, i => spectra[i] = SpectrumReduction.Extract(located[i].Image, located[i].Trace, first, end, half, reduction));
        double[] shift = new double[count];
        if (count > 1)
        {
            int middle = count / 2;
            for (int i = 0; i < count; i++)
            {
                shift[i] = Alignment(spectra[middle].Flux, spectra[i].Flux);
            }

            double zero = shift[0];
            for (int i = 0; i < count; i++)
            {
                shift[i] -= zero;
            }

            if (shift.Any(s => Math.Abs(s) >= 1))
            {
                notes.Add(ColorFocusNotes.PositionsDrift.Say($"The spectra moved by up to {shift.Max(Math.Abs):0} columns along the dispersion during the " +
                    "run and were lined up by their own lines."));
                RunAll(count, context, i =>
                {
                    int s = (int)Math.Round(shift[i]);
                    int f = Math.Clamp(first + s, 0, located[i].Image.Width - 64), e = Math.Clamp(end + s, f + 64, located[i].Image.Width);
                    if (e - f == end - first)
                    {
                        spectra[i] = SpectrumReduction.Extract(located[i].Image, located[i].Trace, f, e, half, reduction);
                    }
                });
            }
        }

        return (spectra, shift);
    }

    /// <summary>Lag of <paramref name="b"/> behind <paramref name="a"/>, columns; 0 where their lines do not agree.</summary>
    private static double Alignment(double[] a, double[] b)
    {
        // Cross-correlation of the lines.
        double[] p = Lines(a), q = Lines(b);
        int n = Math.Min(p.Length, q.Length), reach = Math.Min(60, n / 8);
        double pp = p.Sum(v => v * v), qq = q.Sum(v => v * v);
        if (!(pp > 0 && qq > 0))
        {
            return 0;
        }

        double best = double.NegativeInfinity;
        int at = 0;
        for (int lag = -reach; lag <= reach; lag++)
        {
            double sum = 0;
            for (int i = Math.Max(0, -lag); i < Math.Min(n, n - lag); i++)
            {
                sum += p[i] * q[i + lag];
            }

            if (sum > best)
            {
                best = sum;
                at = lag;
            }
        }

        return best / Math.Sqrt(pp * qq) > 0.5 ? at : 0;
    }

    /// <summary>What stands out from the running mean; the square root keeps the faint ends in.</summary>
    private static double[] Lines(double[] flux)
    {
        int n = flux.Length, reach = Math.Max(10, n / 40);
        double top = flux.Max();
        var root = new double[n];
        for (int i = 0; i < n; i++)
        {
            root[i] = Math.Sqrt(Math.Max(flux[i], 0) / Math.Max(top, 1e-12));
        }

        var result = new double[n];
        double sum = 0;
        int lo = 0, hi = -1;
        for (int i = 0; i < n; i++)
        {
            while (hi < Math.Min(n - 1, i + reach))
            {
                sum += root[++hi];
            }

            while (lo < i - reach)
            {
                sum -= root[lo++];
            }

            result[i] = root[i] - (sum / (hi - lo + 1));
        }

        return result;
    }

    private static void RunAll(int count, RunContext context, Action<int> action)
    {
        try
        {
            Parallel.For(0, count, context.Parallel, action);
        }
        catch (AggregateException e)
        {
            // The first of our own errors says more than a bundle of them.
            Exception inner = e.InnerExceptions.FirstOrDefault(x => x is StarAssayException) ?? e.InnerExceptions[0];
            System.Runtime.ExceptionServices.ExceptionDispatchInfo.Throw(inner);
        }
    }
}
