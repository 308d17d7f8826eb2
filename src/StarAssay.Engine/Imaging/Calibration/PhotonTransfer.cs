using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging.Calibration;

/// <summary>Asks for gain and read noise from two flats and two bias frames.</summary>
public sealed record PhotonTransferRequest
{
    /// <summary>Columns [first, end) and rows [first, end) to use: four numbers, or empty for the whole frame.</summary>
    public IReadOnlyList<int> Section { get; init; } = [];

    /// <summary>Side of the square tiles, pixels.</summary>
    public int TileSize { get; init; } = 32;
}

/// <summary>Gain and read noise.</summary>
/// <param name="Gain">Electrons for one ADU.</param>
/// <param name="ReadNoise">RMS electrons.</param>
/// <param name="ReadNoiseAdu">The same in ADU.</param>
/// <param name="SignalAdu">Mean of each tile's flat above the bias.</param>
/// <param name="VarianceAdu2">Photon variance of one flat in each tile, read noise taken off.</param>
/// <param name="FlatRatio">Light of the second flat over that of the first.</param>
/// <param name="ReducedChi2">Scatter of the tiles about one gain, over what their noise allows.</param>
/// <param name="Notes">Doubts.</param>
public sealed record PhotonTransferResult(Measured Gain, Measured ReadNoise, Measured ReadNoiseAdu, double[] SignalAdu,
    double[] VarianceAdu2, double FlatRatio, double ReducedChi2, IReadOnlyList<Note> Notes);

/// <summary>Photon transfer from pairs.</summary>
/// <remarks>In the difference of two flats what both share (pattern, vignetting) cancels, and photon noise is left:
/// variance = signal / gain (Janesick, Scientific Charge-Coupled Devices, 2001; Howell, Handbook of CCD Astronomy, 2006,
/// section 4.3). Done in tiles, since a flat need not be even: 1 / gain is the slope of variance against signal through
/// zero, weighted by each tile's own uncertainty, 2 V^2 / (n - 1) for a variance of Gaussian noise.</remarks>
public static class PhotonTransfer
{
    /// <summary>Values beyond this many standard deviations are cosmic rays or bad pixels; Gaussian noise loses nothing.</summary>
    private const double Clip = 5;

    /// <summary>Measures.</summary>
    public static PhotonTransferResult Measure(Frame flat1, Frame flat2, Frame bias1, Frame bias2, PhotonTransferRequest request, RunContext context)
    {
        Frame[] all = [flat1, flat2, bias1, bias2];
        foreach (Frame f in all)
        {
            f.RequireConsistent();
            SameSize.Require(flat1, f);
        }

        (int x0, int x1, int y0, int y1) = Section(flat1, request);
        int size = request.TileSize, nx = (x1 - x0) / size, ny = (y1 - y0) / size;
        if (nx * ny < 4)
        {
            throw new CannotMeasureException("gain.too-small", $"{nx * ny} tiles of {size} x {size} pixels fit in the section; at least 4 are needed. " +
                "Choose a larger section or smaller tiles.", flat1.Name);
        }

        RowDecoder[] decoders = [.. all.Select(f => new RowDecoder(f.Pixels))];
        var tiles = new TileSum[nx * ny];
        double ratio = Ratio(decoders, x0, x1, y0, y1);
        Parallel.For(0, tiles.Length, context.Parallel, i =>
            tiles[i] = Tile(decoders, flat1.SaturationAdu, x0 + (i % nx * size), y0 + (i / nx * size), size, ratio));
        TileSum[] good = [.. tiles.Where(t => t.Count > size * size / 2 && t.Signal > 0)];
        if (good.Length < 4)
        {
            throw new CannotMeasureException("gain.no-signal", $"Only {good.Length} tiles of {flat1.Name} are lit and unsaturated. Take flats at a third to " +
                "a half of saturation.", flat1.Name);
        }

        return Solve(good, ratio, flat1.Name);
    }

    private static PhotonTransferResult Solve(TileSum[] tiles, double ratio, string name)
    {
        // Read noise first: all tiles share one variance; one bias has half of the difference's.
        double freedom = tiles.Sum(t => t.Count - 1.0);
        double biasVariance = tiles.Sum(t => (t.Count - 1) * t.BiasVariance) / freedom / 2;
        double[] signal = [.. tiles.Select(t => t.Signal)];

        // var(F1 - r F2) = (S1 + r^2 S2) / gain + (1 + r^2) read^2 with S2 = S1 / r: photon part S1 (1 + r) / gain.
        double[] photon = [.. tiles.Select(t => (t.FlatVariance - ((1 + (ratio * ratio)) * biasVariance)) / (1 + ratio))];
        double slope = photon.Sum() / signal.Sum();
        double[] variance = [];
        for (int round = 0; round < 3; round++)
        {
            // Weights from the model, not from the measured variances, which would favor low ones.
            variance = [.. tiles.Select(t => 2 * Square((t.Signal * slope) + biasVariance) / (t.Count - 1))];
            double top = 0, bottom = 0;
            for (int i = 0; i < tiles.Length; i++)
            {
                top += signal[i] * photon[i] / variance[i];
                bottom += signal[i] * signal[i] / variance[i];
            }

            slope = top / bottom;
            if (!(slope > 0))
            {
                throw new CannotMeasureException("gain.no-photon-noise", "The flats differ no more than the bias frames; there is no photon noise to " +
                    $"measure in {name}. Take two separate flats, not copies.", name);
            }
        }

        double chi2 = 0, weight = 0;
        for (int i = 0; i < tiles.Length; i++)
        {
            chi2 += Square(photon[i] - (slope * signal[i])) / variance[i];
            weight += signal[i] * signal[i] / variance[i];
        }

        chi2 /= tiles.Length - 1;
        double gain = 1 / slope, slopeError = Math.Sqrt(Math.Max(1, chi2) / weight);
        double readAdu = Math.Sqrt(biasVariance), readError = readAdu / Math.Sqrt(2 * freedom);
        double gainError = gain * slopeError / slope;
        var notes = new List<Note>();
        if (chi2 > 1 + (5 * Math.Sqrt(2.0 / (tiles.Length - 1))))
        {
            notes.Add(CalibrationNotes.GainUneven.Say($"The tiles scatter {Math.Sqrt(chi2):F2} times more about one gain than their noise; the uncertainty " +
                "was widened by that. Flats of a steady lamp, or a section without spectral structure, would be better.", name));
        }

        double read = gain * readAdu;
        return new PhotonTransferResult(new Measured(gain, gainError, "electron / adu"),
            new Measured(read, Math.Sqrt(Square(gain * readError) + Square(readAdu * gainError)), "electron"),
            new Measured(readAdu, readError, "adu"), signal, photon, 1 / ratio, chi2, notes);
    }

    private static (int X0, int X1, int Y0, int Y1) Section(Frame frame, PhotonTransferRequest request)
    {
        InputException.RequireRange(request.TileSize, 8, 1024, "tile_size", "pixels");
        return request.Section switch
        {
            [] => (0, frame.Width, 0, frame.Height),
            [int a, int b, int c, int d] when a >= 0 && c >= 0 && a < b && c < d && b <= frame.Width && d <= frame.Height => (a, b, c, d),
            _ => throw new InputException("gain.section", $"The section does not lie in {frame.Name} ({frame.Width} x {frame.Height}). Give its columns and " +
                "rows.", "section", frame.Name),
        };
    }

    /// <summary>Light of the first flat over that of the second.</summary>
    private static double Ratio(RowDecoder[] d, int x0, int x1, int y0, int y1)
    {
        float[][] rows = [.. d.Select(_ => new float[x1 - x0])];
        double first = 0, second = 0;
        for (int y = y0; y < y1; y++)
        {
            for (int k = 0; k < 4; k++)
            {
                d[k].Decode(y, x0, rows[k]);
            }

            for (int x = 0; x < rows[0].Length; x++)
            {
                double bias = 0.5 * ((double)rows[2][x] + rows[3][x]);
                double a = rows[0][x] - bias, b = rows[1][x] - bias;
                if (double.IsFinite(a) && double.IsFinite(b))
                {
                    first += a;
                    second += b;
                }
            }
        }

        return second > 0 && first > 0 ? first / second : 1;
    }

    private static TileSum Tile(RowDecoder[] d, double saturation, int x0, int y0, int size, double ratio)
    {
        float[] signal = new float[size * size], flats = new float[size * size], biases = new float[size * size];
        float[][] rows = [.. d.Select(_ => new float[size])];
        int n = 0;
        for (int y = 0; y < size; y++)
        {
            for (int k = 0; k < 4; k++)
            {
                d[k].Decode(y0 + y, x0, rows[k]);
            }

            for (int x = 0; x < size; x++)
            {
                float bias = 0.5f * (rows[2][x] + rows[3][x]);
                float s = rows[0][x] - bias;
                float difference = (float)(s - (ratio * (rows[1][x] - bias)));
                if (float.IsFinite(s + difference) && !(rows[0][x] >= saturation) && !(rows[1][x] >= saturation))
                {
                    (signal[n], flats[n], biases[n]) = (s, difference, rows[2][x] - rows[3][x]);
                    n++;
                }
            }
        }

        double mean = 0;
        for (int i = 0; i < n; i++)
        {
            mean += signal[i];
        }

        return new TileSum(n, mean / Math.Max(1, n), Variance(flats.AsSpan(0, n)), Variance(biases.AsSpan(0, n)));
    }

    private static double Variance(Span<float> values)
    {
        float[] copy = values.ToArray();
        double center = Rank.Median(copy), limit = Clip * Rank.MadSigma(copy, center);
        double sum = 0, squares = 0;
        int n = 0;
        foreach (float v in values)
        {
            double r = v - center;
            if (Math.Abs(r) <= limit)
            {
                sum += r;
                squares += r * r;
                n++;
            }
        }

        return n < 2 ? double.NaN : (squares - (sum * sum / n)) / (n - 1);
    }

    private static double Square(double v) => v * v;

    private readonly record struct TileSum(int Count, double Signal, double FlatVariance, double BiasVariance);
}
