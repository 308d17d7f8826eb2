using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging.Calibration;

/// <summary>Asks for a calibrated frame. Masters come beside it.</summary>
public sealed record CalibrateRequest
{
    /// <summary>Exposure of the master dark in seconds; NaN = that of the image.</summary>
    public double DarkExposureS { get; init; } = double.NaN;

    /// <summary>True when the master dark still contains the bias, as a raw dark does.</summary>
    public bool DarkHasBias { get; init; } = true;

    /// <summary>Overscan columns [first, end) and rows [first, end): four numbers, or empty for none.</summary>
    public IReadOnlyList<int> Overscan { get; init; } = [];

    /// <summary>Lit part, in the same form; what lies outside is masked. Empty = everything.</summary>
    public IReadOnlyList<int> LitPart { get; init; } = [];

    /// <summary>Flat pixels below this share of the flat's median are masked.</summary>
    public double FlatFloor { get; init; } = 0.1;
}

/// <summary>A calibrated frame.</summary>
/// <param name="Pixels">ADU, [y, x].</param>
/// <param name="Uncertainty">Standard uncertainty of each pixel in ADU from photons, read noise and masters; empty when
/// gain or read noise is not known.</param>
/// <param name="Mask">Pixels not to use.</param>
/// <param name="SaturationAdu">Lowest calibrated value of a clipped pixel; NaN when none is clipped.</param>
/// <param name="OverscanAdu">Level taken off for the overscan; NaN without.</param>
/// <param name="DarkFactor">Factor on the dark; NaN without.</param>
/// <param name="Notes">Doubts.</param>
public sealed record CalibratedFrame(float[,] Pixels, float[,] Uncertainty, bool[,] Mask, double SaturationAdu,
    double OverscanAdu, double DarkFactor, IReadOnlyList<Note> Notes);

/// <summary>Takes bias, dark and flat out of a frame.</summary>
/// <remarks>value = (raw - overscan - bias - factor x dark current) / flat; variance = (electrons / gain + (read noise /
/// gain)^2 + masters) / flat^2 + (value x flat's relative uncertainty)^2, the first-order propagation of JCGM 100 with
/// independent inputs.</remarks>
public static class FrameCalibrator
{
    /// <summary>Calibrates.</summary>
    /// <param name="frame">The image as taken.</param>
    /// <param name="bias">Master bias or null.</param>
    /// <param name="dark">Master dark or null.</param>
    /// <param name="flat">Master flat, any level, or null.</param>
    /// <param name="request">How.</param>
    /// <param name="context">Threads and cancellation.</param>
    public static CalibratedFrame Calibrate(Frame frame, Master? bias, Master? dark, Master? flat, CalibrateRequest request, RunContext context)
    {
        frame.RequireConsistent();
        foreach (Master? m in new[] { bias, dark, flat })
        {
            if (m is not null)
            {
                SameSize.Require(frame, m.Frame);
            }
        }

        var notes = new List<Note>();
        double factor = DarkFactor(frame, bias, dark, request, notes);
        double overscan = Overscan(frame, request.Overscan);
        double level = flat is null ? 1 : FrameCombiner.Level(new FrameReader(flat.Frame));
        if (!(level > 0))
        {
            throw new CannotMeasureException("calibration.flat-level", $"{flat!.Frame.Name} has a median of {level:G4} and cannot be a flat field. Give " +
                "another.", flat.Frame.Name);
        }

        bool noise = frame.GainElectronsPerAdu > 0 && frame.ReadNoiseElectrons >= 0;
        int width = frame.Width, height = frame.Height;
        var pixels = new float[height, width];
        var uncertainty = noise ? new float[height, width] : new float[0, 0];
        var mask = new bool[height, width];
        long[] dim = new long[height];
        double[] clipped = new double[height];
        var work = new Work(frame, bias, dark, flat, request, factor, double.IsNaN(overscan) ? 0 : overscan, level, noise);
        Parallel.For(0, height, context.Parallel, () => new float[7][].Select(_ => new float[width]).ToArray(), (y, _, rows) =>
        {
            (dim[y], clipped[y]) = Row(work, y, rows, pixels, uncertainty, mask);
            return rows;
        }, _ => { });

        if (dim.Sum() > 0)
        {
            notes.Add(CalibrationNotes.FlatDark.Say($"{dim.Sum()} pixels of the flat lie below {request.FlatFloor:P0} of its median and are masked.",
                frame.Name));
        }

        double saturation = clipped.Min();
        return new CalibratedFrame(pixels, uncertainty, mask, double.IsPositiveInfinity(saturation) ? double.NaN : saturation, overscan, factor, notes);
    }

    private static (long Dim, double Clipped) Row(Work w, int y, float[][] rows, float[,] pixels, float[,] uncertainty, bool[,] mask)
    {
        new RowDecoder(w.Frame.Pixels).Decode(y, 0, rows[0]);
        Load(w.Bias, y, rows[1], rows[2], 0);
        Load(w.Dark, y, rows[3], rows[4], 0);
        Load(w.Flat, y, rows[5], rows[6], 1);
        double gain = w.Frame.GainElectronsPerAdu, readVariance = Square(w.Frame.ReadNoiseElectrons / gain);
        bool darkMinusBias = w.Dark is not null && w.Bias is not null && w.Request.DarkHasBias;
        long dim = 0;
        double clipped = double.PositiveInfinity;
        for (int x = 0; x < rows[0].Length; x++)
        {
            double current = w.Dark is null ? 0 : w.Factor * (rows[3][x] - (darkMinusBias ? rows[1][x] : 0));
            double signal = rows[0][x] - w.Overscan - rows[1][x] - current;
            double flat = rows[5][x] / w.FlatLevel;
            bool usable = flat >= w.Request.FlatFloor;
            if (w.Flat is null)
            {
                (flat, usable) = (1, true);
            }

            double value = usable ? signal / flat : double.NaN;
            pixels[y, x] = (float)value;
            bool masked = IsMasked(w, x, y) || !double.IsFinite(value);
            mask[y, x] = masked;
            dim += usable ? 0 : 1;
            if (!masked && rows[0][x] >= w.Frame.SaturationAdu)
            {
                clipped = Math.Min(clipped, value);
            }

            if (w.Noise)
            {
                // The bias enters directly, and again through the dark when that still contains it.
                double biasWeight = darkMinusBias ? 1 - w.Factor : 1;
                double variance = (Math.Max(0, rows[0][x] - w.Overscan - rows[1][x]) / gain) + readVariance
                    + Square(biasWeight * rows[2][x]) + (w.Dark is null ? 0 : Square(w.Factor * rows[4][x]));
                double relative = w.Flat is null ? 0 : rows[6][x] / rows[5][x];
                uncertainty[y, x] = (float)Math.Sqrt((variance / Square(flat)) + Square(value * relative));
            }
        }

        return (dim, clipped);
    }

    private static void Load(Master? master, int y, float[] values, float[] errors, float otherwise)
    {
        if (master is null)
        {
            Array.Fill(values, otherwise);
            Array.Clear(errors);
            return;
        }

        new RowDecoder(master.Frame.Pixels).Decode(y, 0, values);
        if (master.Uncertainty.IsEmpty)
        {
            Array.Clear(errors);
        }
        else
        {
            master.Uncertainty.Span.Slice(checked((int)((long)y * values.Length)), values.Length).CopyTo(errors);
            for (int x = 0; x < errors.Length; x++)
            {
                errors[x] = float.IsFinite(errors[x]) ? errors[x] : 0;
            }
        }
    }

    private static bool IsMasked(Work w, int x, int y)
    {
        bool outside = w.Request.LitPart is [int x0, int x1, int y0, int y1] && (x < x0 || x >= x1 || y < y0 || y >= y1);
        long at = ((long)y * w.Frame.Width) + x;
        return outside || Marked(w.Frame) || (w.Bias is not null && Marked(w.Bias.Frame)) || (w.Dark is not null && Marked(w.Dark.Frame))
            || (w.Flat is not null && Marked(w.Flat.Frame));

        bool Marked(Frame f) => !f.Mask.IsEmpty && f.Mask.Span[(int)at] != 0;
    }

    private static double DarkFactor(Frame frame, Master? bias, Master? dark, CalibrateRequest request, List<Note> notes)
    {
        if (dark is null)
        {
            return double.NaN;
        }

        double own = double.IsNaN(request.DarkExposureS) ? frame.ExposureS : request.DarkExposureS;
        double factor = double.IsNaN(own) || double.IsNaN(frame.ExposureS) ? 1 : frame.ExposureS / own;
        if (!double.IsFinite(factor) || factor < 0)
        {
            throw new InputException("calibration.dark-exposure", $"The dark's exposure is {own} s, the image's {frame.ExposureS} s; they cannot be scaled. " +
                "Give both exposures.", "dark_exposure", frame.Name);
        }

        if (Math.Abs(factor - 1) <= 0.01)
        {
            return 1;
        }

        if (bias is null && request.DarkHasBias)
        {
            throw new InputException("calibration.dark-bias",
                $"The dark has {own} s, the image {frame.ExposureS} s: scaling needs a bias, or a dark without it. Give bias=... or darks of " +
                    $"{frame.ExposureS} s.", "bias", frame.Name);
        }

        notes.Add(CalibrationNotes.DarkScaled.Say($"The dark of {own:G4} s was scaled by {factor:G4}.", frame.Name));
        return factor;
    }

    private static double Overscan(Frame frame, IReadOnlyList<int> section)
    {
        if (section.Count == 0)
        {
            return double.NaN;
        }

        if (section is not [int x0, int x1, int y0, int y1] || x0 < 0 || y0 < 0 || x1 > frame.Width || y1 > frame.Height || x0 >= x1 || y0 >= y1)
        {
            throw new InputException("calibration.overscan", $"The overscan section does not lie in {frame.Name} ({frame.Width} x {frame.Height}). Give its " +
                "columns and rows.", "overscan", frame.Name);
        }

        var decoder = new RowDecoder(frame.Pixels);
        var sample = new List<float>();
        float[] row = new float[x1 - x0];
        for (int y = y0; y < y1; y++)
        {
            decoder.Decode(y, x0, row);
            sample.AddRange(row.Where(float.IsFinite));
        }

        return Rank.Median(sample.ToArray());
    }

    private static double Square(double v) => v * v;

    private sealed record Work(Frame Frame, Master? Bias, Master? Dark, Master? Flat, CalibrateRequest Request, double Factor, double Overscan,
        double FlatLevel, bool Noise);
}

/// <summary>A master frame with the uncertainty of each of its pixels.</summary>
/// <param name="Frame">Its pixels.</param>
/// <param name="Uncertainty">Standard uncertainty, same order and unit; empty when not known.</param>
public sealed record Master(Frame Frame, ReadOnlyMemory<float> Uncertainty);
