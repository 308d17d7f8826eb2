using System.Collections.Concurrent;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What both fits work on: reduced spectra lined up, bins with their wavelengths, and which of them count.</summary>
internal sealed class ColorFocusInput
{
    // Models and their grids hold whatever the profiles are: every fit asks for the same ones.
    private readonly ConcurrentDictionary<(int Frame, int Bin, double FocalRatio), ProfileModel> models = new();
    private readonly ConcurrentDictionary<ProfileGrid, HankelTable> hankel = new();
    private ProfileGrid[] laid = [];

    /// <summary>Reduced frames, in the order of the run.</summary>
    public required ReducedSpectrum[] Spectra { get; init; }

    /// <summary>How far each lies along the dispersion from the first, columns.</summary>
    public required double[] ColumnShift { get; init; }

    /// <summary>Wavelength of each column of the reduced spectra.</summary>
    public required double[] ColumnNm { get; init; }

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

    /// <summary>From here on light that the frame does not show may come in second order; infinite where its end was seen.</summary>
    public required double SecondOrderPossibleFromNm { get; init; }

    /// <summary>What the lines say of the second order; null where none can come.</summary>
    public required SecondOrder? Order { get; init; }

    /// <summary>Bins under the second order from which it can be taken.</summary>
    public required bool[] Removable { get; init; }

    /// <summary>What was seen so far; the fits add theirs.</summary>
    public required List<Note> Notes { get; init; }

    /// <summary>Bins whose colors the window does not hold.</summary>
    public List<int> BeyondWindow { get; } = [];

    /// <summary>Number of bins.</summary>
    public int Bins => Nm.Length;

    /// <summary>Number of frames.</summary>
    public int Frames => Spectra.Length;

    /// <summary>Profile of one bin in one frame with its model; the second order's light and what neighboring colors mix in are taken
    /// off first, where given.</summary>
    public ProfileBlock Block(int frame, int bin, ColorFocusRequest request, double focalRatio, double[]? foreign = null,
        NeighborCorrection? neighbors = null)
    {
        ReducedSpectrum s = Spectra[frame];
        int rows = s.Profile.GetLength(1);
        var data = new double[rows];
        var noise = new double[rows];
        double[]? mixed = neighbors?.Light[frame][bin], doubt = neighbors?.Error(frame, bin);
        for (int r = 0; r < rows; r++)
        {
            data[r] = s.Profile[bin, r] - (foreign?[r] ?? 0) - (mixed?[r] ?? 0);
            double unsure = doubt?[r] ?? 0;
            noise[r] = s.NoiseVariance[bin, r] + (Math.Max(foreign?[r] ?? 0, 0) / s.GainElectronsPerAdu) + (unsure * unsure);
        }

        ProfileModel model = models.GetOrAdd((frame, bin, focalRatio),
            _ => new ProfileModel(Grids()[frame], DefocusTransfer.For(request.Obstruction), Nm[bin], focalRatio, PitchUm, s.SubpixelVariance[bin]));
        return new ProfileBlock(model, data, noise, s.SubpixelMean[bin], s.GainElectronsPerAdu, doubt);
    }

    /// <summary>Standard uncertainty of every bin's focus for violet light that the frame does not show and that may lie on the bin in
    /// second order, um.</summary>
    /// <remarks>As much light as the shortest bin has, with the efficiency that the lines show, or a tenth (common practice, no
    /// source): mixed profiles put the focus between both by their shares.</remarks>
    /// <param name="nm">Wavelengths of the measured bins.</param>
    /// <param name="focusUm">Their focus.</param>
    public double[] UnseenSecondOrder(double[] nm, double[] focusUm)
    {
        double ratio = Order is { Absent: true } ? 0 : Order is { Seen: true } ? Order.Ratio : 0.1;
        int shortest = Array.IndexOf(nm, nm.Min()), bin = Array.IndexOf(Nm, nm.Min());
        return [.. nm.Select((w, k) => w < SecondOrderPossibleFromNm || w > SecondOrderFromNm ? 0
            : Math.Min(1, 0.5 * ratio * RelativeFlux[bin] / Math.Max(RelativeFlux[Array.IndexOf(Nm, w)], 1e-3)) * Math.Abs(focusUm[shortest] - focusUm[k]))];
    }

    /// <summary>What is known beforehand of the spectrograph's own blur: its variance and the standard deviation of that, pixels^2.</summary>
    /// <remarks>Not known: a camera lens, a slit and a grating blur by up to 15 um FWHM, common practice, no source; the profiles
    /// themselves must tell it from seeing.</remarks>
    public (double Mean, double Sigma) Blur(ColorFocusRequest request)
    {
        if (request.InstrumentBlurUm > 0)
        {
            double known = Math.Pow(request.InstrumentBlurUm / PitchUm, 2);
            return (known, Math.Max(0.1 * known, 1e-4)); // a blur is known to a twentieth at best
        }

        return (0, Math.Pow(15 / 2.354820 / PitchUm, 2));
    }

    /// <summary>What images on a grid of rows are made with, for a reach along the dispersion.</summary>
    public HankelTable Hankel(ProfileGrid grid, int reach) => hankel.AddOrUpdate(grid, g => new HankelTable(g, reach),
        (g, known) => known.Reach >= reach ? known : new HankelTable(g, reach));

    /// <summary>Profile grids of the frames; frames with equal windows share one.</summary>
    public ProfileGrid[] Grids()
    {
        if (laid.Length > 0)
        {
            return laid;
        }

        var made = new Dictionary<(int, int), ProfileGrid>();
        return laid = [.. Spectra.Select(s =>
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
