using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>A pair cut out, in electrons, with masks and starting values.</summary>
internal sealed class PairPreparation
{
    private const int LargestWindow = 256;

    private PairPreparation(PairData data, PairState start, int bin, double pitchUm, (int X, int Y)[] origins, DefocusedStar[] stars, double[] gains)
    {
        Data = data;
        Start = start;
        Bin = bin;
        PitchUm = pitchUm;
        Origins = origins;
        Stars = stars;
        Gains = gains;
    }

    public PairData Data { get; }

    public PairState Start { get; }

    public int Bin { get; }

    /// <summary>Pitch of the pixels used, um.</summary>
    public double PitchUm { get; }

    public (int X, int Y)[] Origins { get; }

    public DefocusedStar[] Stars { get; }

    public double[] Gains { get; }

    /// <summary>Focal ratio of the request.</summary>
    public double FocalRatio { get; private init; }

    /// <summary>Masked for saturation, per image.</summary>
    public int[] Clipped { get; private set; } = new int[2];

    /// <summary>Share of the disc that lies outside the frame, per image.</summary>
    public double[] Cut { get; private set; } = new double[2];

    /// <summary>Finds the star in both frames, cuts equal windows and counts electrons.</summary>
    public static PairPreparation Make(WavefrontRequest request, int pair, int modes)
    {
        Frame[] frames = [request.Frames[2 * pair], request.Frames[(2 * pair) + 1]];
        DefocusedStar[] stars = [.. frames.Select(DefocusedStar.Find)];
        double pitch = Pitch(request, frames);
        double largest = stars.Max(s => s.Diameter);
        int bin = Math.Max(1, (int)Math.Ceiling(1.6 * largest / LargestWindow));
        double disc = largest / bin;
        int wanted = (int)Math.Ceiling((1.45 * disc) + 24);
        int window = Fft.Padded(Math.Min(wanted, LargestWindow + 64));
        var data = new PairData(window);
        var start = new PairState { CoefficientsNm = new double[modes] };
        var origins = new (int X, int Y)[2];
        double[] gains = new double[2];
        var made = new PairPreparation(data, start, bin, pitch * bin, origins, stars, gains) { FocalRatio = request.FocalRatio };
        for (int k = 0; k < 2; k++)
        {
            made.Cutout(request, frames[k], k);
        }

        return made;
    }

    /// <summary>The same pixels with another pitch.</summary>
    /// <param name="factor">Over the present one.</param>
    public PairPreparation WithPitch(double factor)
    {
        PairState start = Start.Copy();
        for (int k = 0; k < 2; k++)
        {
            start.DefocusNm[k] *= factor;
            start.TiltXNm[k] *= factor;
            start.TiltYNm[k] *= factor;
        }

        return new PairPreparation(Data, start, Bin, PitchUm * factor, Origins, Stars, Gains) { FocalRatio = FocalRatio, Clipped = Clipped, Cut = Cut };
    }

    /// <summary>The same pixels, copied, with one image on the other side of focus.</summary>
    public PairPreparation WithFlippedSide(int image)
    {
        PairState start = Start.Copy();
        start.DefocusNm[image] = -start.DefocusNm[image];
        return new PairPreparation(Data.Copy(), start, Bin, PitchUm, Origins, Stars, Gains) { FocalRatio = FocalRatio, Clipped = Clipped, Cut = Cut };
    }

    /// <summary>The same pair with the second image lying another way.</summary>
    /// <param name="turn">Bits: 1 mirrors x, 2 mirrors y, 4 exchanges x and y first.</param>
    public PairPreparation WithTurnedSecond(int turn)
    {
        int w = Data.Window;
        var data = new PairData(w);
        (data.Electrons[0], data.BaseVariance[0], data.Use[0]) = (Data.Electrons[0], Data.BaseVariance[0], Data.Use[0]);
        for (int j = 0; j < w; j++)
        {
            for (int i = 0; i < w; i++)
            {
                (int x, int y) = (turn & 4) != 0 ? (j, i) : (i, j);
                x = (turn & 1) != 0 ? w - 1 - x : x;
                y = (turn & 2) != 0 ? w - 1 - y : y;
                (int to, int from) = ((j * w) + i, (y * w) + x);
                (data.Electrons[1][to], data.BaseVariance[1][to], data.Use[1][to]) = (Data.Electrons[1][from], Data.BaseVariance[1][from], Data.Use[1][from]);
            }
        }

        PairState start = Start.Copy();
        double perNm = -2e-3 * FocalRatio / PitchUm;
        double sx = start.TiltXNm[1] * perNm;
        double sy = start.TiltYNm[1] * perNm;

        // An even window's middle pixel lies half a pixel beyond its middle, so a mirrored place moves by one.
        sx = (turn & 1) != 0 ? -1 - sx : sx;
        sy = (turn & 2) != 0 ? -1 - sy : sy;
        (sx, sy) = (turn & 4) != 0 ? (sy, sx) : (sx, sy);
        start.TiltXNm[1] = sx / perNm;
        start.TiltYNm[1] = sy / perNm;
        return new PairPreparation(data, start, Bin, PitchUm, Origins, Stars, Gains) { FocalRatio = FocalRatio, Clipped = Clipped, Cut = Cut };
    }

    private static double Pitch(WavefrontRequest request, Frame[] frames)
    {
        double pitch = double.IsNaN(request.PitchUm) ? frames[0].PitchUm : request.PitchUm;
        if (!(pitch > 0 && pitch < 1000))
        {
            throw new InputException("wavefront.pitch", $"The pixel pitch of {frames[0].Name} is not known. Give pitch=, in micrometres, binning included.",
                "pitch", frames[0].Name);
        }

        return pitch;
    }

    private static (int X, int Y) Source(Orientation orientation, int i, int j, int span) => orientation switch
    {
        Orientation.FlippedX => (span - 1 - i, j),
        Orientation.FlippedY => (i, span - 1 - j),
        Orientation.Rotated180 => (span - 1 - i, span - 1 - j),
        _ => (i, j),
    };

    private void Cutout(WavefrontRequest request, Frame frame, int k)
    {
        DefocusedStar star = Stars[k];
        int window = Data.Window;
        int span = window * Bin;
        int x0 = (int)Math.Round(star.X) - (span / 2);
        int y0 = (int)Math.Round(star.Y) - (span / 2);
        Origins[k] = (x0, y0);
        double gain = frame.GainElectronsPerAdu > 0 ? frame.GainElectronsPerAdu : 1;
        Gains[k] = gain;
        double[] raw = new FrameReader(frame).Region(x0, y0, span, span);
        double clip = frame.SaturationAdu > 0 ? frame.SaturationAdu : double.PositiveInfinity;
        double variance = BackgroundVariance(frame, star, gain, k);
        int clipped = 0;
        for (int j = 0; j < window; j++)
        {
            for (int i = 0; i < window; i++)
            {
                double sum = 0;
                bool good = true;
                for (int b = 0; b < Bin; b++)
                {
                    for (int a = 0; a < Bin; a++)
                    {
                        (int x, int y) = Source(request.Orientation, (i * Bin) + a, (j * Bin) + b, span);
                        double v = raw[(y * span) + x];
                        bool over = v >= clip;
                        clipped += over ? 1 : 0;
                        good &= double.IsFinite(v) && !over;
                        sum += v - star.Background;
                    }
                }

                int at = (j * window) + i;
                Data.Electrons[k][at] = good ? (float)(sum * gain) : 0;
                Data.BaseVariance[k][at] = (float)(variance * Bin * Bin);
                Data.Use[k][at] = good ? 1 : 0;
            }
        }

        Clipped[k] = clipped;
        Cut[k] = CutShare(star, frame);

        // The star's centre against the window's middle pixel, window/2.
        (double px, double py) = Offset(request.Orientation, star.X - x0, star.Y - y0, span);
        double dx = ((px + 0.5) / Bin) - 0.5 - (window / 2);
        double dy = ((py + 0.5) / Bin) - 0.5 - (window / 2);
        double perNm = -2e-3 * request.FocalRatio / PitchUm;
        Start.TiltXNm[k] = dx / perNm;
        Start.TiltYNm[k] = dy / perNm;
        double sign = k == 0 ? -1 : 1;
        Start.DefocusNm[k] = sign * star.Diameter / Bin * PitchUm / (8e-3 * request.FocalRatio);
        Start.Flux[k] = Math.Max(1, Data.Electrons[k].Sum());
    }

    /// <summary>Measured variance of the background over what gain, read noise and level promise, per image; NaN when not known.
    /// Far from 1 when a gain is not what it says or a bias is still in.</summary>
    public double[] NoiseRatio { get; } = [double.NaN, double.NaN];

    /// <summary>Level that has no noise of its own, ADU, per image: the bias that is still in. NaN when there is none to be seen.</summary>
    public double[] BiasAdu { get; } = [double.NaN, double.NaN];

    // Variance of what was taken off as background: its photons (sky and the star's own wings), read noise, rounding. The camera's
    // figures are free of scatter, so they are taken where the measured noise bears them out.
    private double BackgroundVariance(Frame frame, DefocusedStar star, double gain, int k)
    {
        double rounding = gain * gain / 12;
        double measured = star.Noise * star.Noise * gain * gain;
        double read = frame.ReadNoiseElectrons;
        if (!(read >= 0) || !(frame.GainElectronsPerAdu > 0))
        {
            return measured > 0 ? measured : 1 + rounding;
        }

        double promised = (read * read) + Math.Max(0, star.Background * gain) + rounding;
        NoiseRatio[k] = measured / promised;

        // A bias adds level without noise; noise below that of reading alone means a wrong gain instead.
        if (NoiseRatio[k] < 0.7 && measured > 0.7 * ((read * read) + rounding))
        {
            BiasAdu[k] = (promised - measured) / gain;
        }

        return NoiseRatio[k] is > 0.7 and < 1.5 ? promised : Math.Max(measured, rounding);
    }

    private static (double X, double Y) Offset(Orientation orientation, double x, double y, int span) => orientation switch
    {
        Orientation.FlippedX => (span - 1 - x, y),
        Orientation.FlippedY => (x, span - 1 - y),
        Orientation.Rotated180 => (span - 1 - x, span - 1 - y),
        _ => (x, y),
    };

    private static double CutShare(DefocusedStar star, Frame frame)
    {
        int outside = 0;
        int all = 0;
        for (int a = 0; a < 40; a++)
        {
            for (int b = 0; b < 40; b++)
            {
                double u = ((a + 0.5) / 20) - 1;
                double v = ((b + 0.5) / 20) - 1;
                if ((u * u) + (v * v) <= 1)
                {
                    double x = star.X + (u * star.Diameter / 2);
                    double y = star.Y + (v * star.Diameter / 2);
                    all++;
                    outside += x < -0.5 || y < -0.5 || x > frame.Width - 0.5 || y > frame.Height - 0.5 ? 1 : 0;
                }
            }
        }

        return outside / (double)all;
    }
}
