using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What both fits work on: reduced spectra lined up, bins with their wavelengths, and which of them count.</summary>
internal sealed class ColorFocusInput
{
    /// <summary>Reduced frames, in the order of the run.</summary>
    public required ReducedSpectrum[] Spectra { get; init; }

    /// <summary>How far each lies along the dispersion from the first, columns.</summary>
    public required double[] ColumnShift { get; init; }

    /// <summary>Wavelength of each bin.</summary>
    public required double[] Nm { get; init; }

    /// <summary>Bins that are measured.</summary>
    public required bool[] Used { get; init; }

    /// <summary>Light per nm in each bin, 1 at the brightest.</summary>
    public required double[] RelativeFlux { get; init; }

    /// <summary>Pixel pitch.</summary>
    public required double PitchUm { get; init; }

    /// <summary>From here on the second order may overlap; infinite where none can.</summary>
    public required double SecondOrderFromNm { get; init; }

    /// <summary>What the lines say of the second order; null where none can come.</summary>
    public required SecondOrder? Order { get; init; }

    /// <summary>Bins under the second order from which it can be taken.</summary>
    public required bool[] Removable { get; init; }

    /// <summary>What was seen so far; the fits add theirs.</summary>
    public required List<Note> Notes { get; init; }

    /// <summary>Number of bins.</summary>
    public int Bins => Nm.Length;

    /// <summary>Number of frames.</summary>
    public int Frames => Spectra.Length;

    /// <summary>Profile of one bin in one frame with its model; foreign light, if any, is taken off first.</summary>
    public ProfileBlock Block(ProfileGrid[] grids, int frame, int bin, ColorFocusRequest request, double focalRatio, double[]? foreign = null)
    {
        ReducedSpectrum s = Spectra[frame];
        int rows = s.Profile.GetLength(1);
        var data = new double[rows];
        var noise = new double[rows];
        for (int r = 0; r < rows; r++)
        {
            data[r] = s.Profile[bin, r] - (foreign?[r] ?? 0);
            noise[r] = s.NoiseVariance[bin, r] + (Math.Max(foreign?[r] ?? 0, 0) / s.GainElectronsPerAdu);
        }

        double instrument = request.InstrumentBlurUm / PitchUm;
        var model = new ProfileModel(grids[frame], DefocusTransfer.For(request.Obstruction), Nm[bin], focalRatio, PitchUm,
            s.SubpixelVariance[bin] + (instrument * instrument));
        return new ProfileBlock(model, data, noise, s.SubpixelMean[bin], s.GainElectronsPerAdu);
    }

    /// <summary>Profile grids of the frames; frames with equal windows share one.</summary>
    public ProfileGrid[] Grids()
    {
        var made = new Dictionary<(int, int), ProfileGrid>();
        return [.. Spectra.Select(s =>
        {
            int rows = s.Profile.GetLength(1);
            if (!made.TryGetValue((s.FirstRow, rows), out ProfileGrid? grid))
            {
                grid = new ProfileGrid(s.FirstRow, rows, 2 * rows); // up to one cycle a pixel
                made.Add((s.FirstRow, rows), grid);
            }

            return grid;
        })];
    }
}
