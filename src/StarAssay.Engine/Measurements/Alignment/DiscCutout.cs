using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.Alignment;

/// <summary>The discs cut out, in electrons, with starting values. A single image stands for both of a pair, each pixel with half its weight, which
/// is the same least squares.</summary>
internal sealed class DiscCutout
{
    private const int LargestWindow = 256;
    private const double LeastPixels = 10, LeastWaves = 1.5;
    private const double MostClipped = 0.15, MostCut = 0.1, FewestPhotons = 150;

    private DiscCutout(AlignmentRequest request, DefocusedStar[] stars, double framePitchUm)
    {
        (Stars, FramePitchUm) = (stars, framePitchUm);
        double largest = stars.Max(s => s.Diameter);
        Binning = Math.Max(1, (int)Math.Ceiling(1.6 * largest / LargestWindow));
        int wanted = (int)Math.Ceiling((1.45 * largest / Binning) + 24);
        Data = new PairData(Fft.Padded(Math.Min(wanted, LargestWindow + 64)));
        FocalRatio = request.FocalRatio;
        Count = stars.Length;
    }

    /// <summary>Images given: 1 or 2.</summary>
    public int Count { get; }

    /// <summary>Pixels.</summary>
    public PairData Data { get; }

    /// <summary>Where the fit begins.</summary>
    public PairState Start { get; } = new() { CoefficientsNm = new double[DiscFit.Modes.Length] };

    /// <summary>Stars as found.</summary>
    public DefocusedStar[] Stars { get; }

    /// <summary>First pixel of each window in its frame.</summary>
    public (int X, int Y)[] Origins { get; } = new (int X, int Y)[2];

    /// <summary>Frame pixels along a pixel of the fit.</summary>
    public int Binning { get; }

    /// <summary>Pitch of the frames.</summary>
    public double FramePitchUm { get; }

    /// <summary>Pitch of the pixels of the fit.</summary>
    public double PitchUm => FramePitchUm * Binning;

    /// <summary>Saturated pixels of each disc.</summary>
    public int[] Clipped { get; } = new int[2];

    /// <summary>Signal-to-noise ratio of each star, CCD equation over the disc (Merline and Howell 1995).</summary>
    public double[] SignalToNoise { get; } = new double[2];

    private double FocalRatio { get; }

    /// <summary>Finds the stars, cuts them out and refuses what cannot be measured.</summary>
    public static DiscCutout Make(AlignmentRequest request, List<Note> notes)
    {
        DefocusedStar[] stars = [.. request.Frames.Select(DefocusedStar.Find)];
        double pitch = double.IsNaN(request.PitchUm) ? request.Frames[0].PitchUm : request.PitchUm;
        if (!(pitch > 0))
        {
            throw new InputException("alignment.pitch", $"The pixel pitch of {request.Frames[0].Name} is not known. Give pitch=, in micrometres, binning "
                + "included.", "pitch", request.Frames[0].Name);
        }

        var made = new DiscCutout(request, stars, pitch);
        for (int k = 0; k < 2; k++)
        {
            int from = Math.Min(k, made.Count - 1);
            made.Cut(request.Frames[from], stars[from], k);
            if (from == k)
            {
                made.Check(request, request.Frames[k], k, notes);
            }
        }

        return made;
    }

    /// <summary>From a place in the window of an image to one in its frame.</summary>
    public (double X, double Y) InFrame(int k, double x, double y) =>
        (Origins[k].X + (Binning * (x + 0.5)) - 0.5, Origins[k].Y + (Binning * (y + 0.5)) - 0.5);

    private void Cut(Frame frame, DefocusedStar star, int k)
    {
        int w = Data.Window, span = w * Binning;
        int x0 = (int)Math.Round(star.X) - (span / 2), y0 = (int)Math.Round(star.Y) - (span / 2);
        Origins[k] = (x0, y0);
        double gain = frame.GainElectronsPerAdu > 0 ? frame.GainElectronsPerAdu : 1;
        double clip = frame.SaturationAdu > 0 ? frame.SaturationAdu : double.PositiveInfinity;
        double read = frame.ReadNoiseElectrons >= 0 ? frame.ReadNoiseElectrons : 0;
        double least = (read * read) + (gain * gain / 12);

        // Noise as seen on the sky: that of its photons, of reading and of rounding.
        double variance = Math.Max(star.Noise * star.Noise * gain * gain, Math.Max(least, 1e-3));
        double[] raw = new FrameReader(frame).Region(x0, y0, span, span);
        float full = Count == 1 ? 0.5f : 1;
        for (int at = 0; at < w * w; at++)
        {
            double sum = 0;
            bool good = true;
            for (int b = 0; b < Binning * Binning; b++)
            {
                double v = raw[((((at / w) * Binning) + (b / Binning)) * span) + ((at % w) * Binning) + (b % Binning)];
                Clipped[k] += v >= clip ? 1 : 0;
                good &= double.IsFinite(v) && v < clip;
                sum += v - star.Background;
            }

            Data.Electrons[k][at] = good ? (float)(sum * gain) : 0;
            Data.BaseVariance[k][at] = (float)(variance * Binning * Binning);
            Data.Use[k][at] = good ? full : 0;
        }

        // The star's centre against the window's middle pixel.
        double perNm = -2e-3 * FocalRatio / PitchUm;
        Start.TiltXNm[k] = (((star.X - x0 + 0.5) / Binning) - 0.5 - (w / 2)) / perNm;
        Start.TiltYNm[k] = (((star.Y - y0 + 0.5) / Binning) - 0.5 - (w / 2)) / perNm;
        Start.DefocusNm[k] = star.Diameter / Binning * PitchUm / (8e-3 * FocalRatio);
        double light = Data.Electrons[k].Sum(v => (double)v), pixels = Math.PI / 4 * star.Diameter * star.Diameter;
        Start.Flux[k] = Math.Max(1, light);
        SignalToNoise[k] = light > 0 ? light / Math.Sqrt(light + (pixels * variance)) : 0;
    }

    private void Check(AlignmentRequest request, Frame frame, int k, List<Note> notes)
    {
        string name = frame.Name;
        double diameter = Stars[k].Diameter, waves = Start.DefocusNm[k] / request.WavelengthNm;
        double depth = 8e-6 * request.WavelengthNm * request.FocalRatio * request.FocalRatio;
        string advice = $"Defocus by 5 to 10 waves, {5 * depth:0.##} to {10 * depth:0.##} mm here.";
        if (diameter < LeastPixels || waves < LeastWaves)
        {
            throw new CannotMeasureException("alignment.in-focus",
                $"The star in {name} is in focus or nearly so: {diameter:0} pixels wide, {waves:0.0} waves. {advice}", name);
        }

        if (diameter < 20 || waves < 3)
        {
            notes.Add(AlignmentNotes.Small.Say($"The disc in {name} is {diameter:0} pixels wide, {waves:0.0} waves out of focus: few pixels to see rings in. "
                + advice, name));
        }

        CheckCut(frame, (Stars[k].X, Stars[k].Y), Stars[k].Diameter / 2);
        double area = Math.PI / 4 * diameter * diameter, clipped = Clipped[k] / area;
        if (clipped > MostClipped)
        {
            throw new CannotMeasureException("alignment.saturated",
                $"{Clipped[k]} pixels of the disc in {name} are saturated, {100 * clipped:0} % of it. Expose shorter or choose a fainter star.", name);
        }

        if (clipped > 0.02)
        {
            notes.Add(AlignmentNotes.Ring.Say($"{Clipped[k]} pixels of the disc in {name} are saturated, {100 * clipped:0} % of it: much of a ring is missing. "
                + "Expose shorter.", name));
        }
        else if (Clipped[k] > 0)
        {
            notes.Add(AlignmentNotes.Clipped.Say($"{Clipped[k]} saturated pixels in {name} were left out. Expose a little shorter next time.", name));
        }

        if (SignalToNoise[k] < FewestPhotons)
        {
            notes.Add(AlignmentNotes.Faint.Say(
                $"The star in {name} has a signal-to-noise ratio of {SignalToNoise[k]:0}; from {FewestPhotons:0} on the decentre is good to about a hundredth "
                + "of the blur radius. Expose longer or choose a brighter star.", name));
        }
    }

    /// <summary>Refuses a disc that lies too far outside of its frame.</summary>
    /// <returns>Share of it that does.</returns>
    public static double CheckCut(Frame frame, (double X, double Y) middle, double radius)
    {
        const int Across = 40;
        int outside = 0, all = 0;
        for (int k = 0; k < Across * Across; k++)
        {
            double u = (((k % Across) + 0.5) * 2 / Across) - 1, v = (((k / Across) + 0.5) * 2 / Across) - 1;
            if ((u * u) + (v * v) <= 1)
            {
                double x = middle.X + (u * radius), y = middle.Y + (v * radius);
                all++;
                outside += x < -0.5 || y < -0.5 || x > frame.Width - 0.5 || y > frame.Height - 0.5 ? 1 : 0;
            }
        }

        double cut = outside / (double)all;
        return cut <= MostCut ? cut : throw new CannotMeasureException("alignment.star-cut",
            $"{100 * cut:0} % of the disc in {frame.Name} lies outside the frame. Take the image again with the star farther from the edge.", frame.Name);
    }
}
