using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>The grids on which a pair is computed: a fine grid on the sensor, and for each wavelength a pupil grid that leads to it.</summary>
/// <remarks>The fine grid has a whole number of samples a pixel, no wider than lambda N/2 (and a twentieth), at which a diffraction
/// image is sampled without loss, or as wide as leaves those frequencies alone that pass through the seeing (<see cref="PairOptics.HighestPassed"/>): what
/// lies f beyond half the rate comes back f below it, and the image ends at the cutoff. The pupil raster of each wavelength is scaled so that all share
/// this grid. The grid spans at least 2.8 diameters of the larger disc, below which the image's own wings come round again.</remarks>
internal sealed class PairGrids
{
    private const double FieldInDiscs = 2.8;
    private const double FieldInDiscsRoughly = 1.9;
    private const double FieldInDiscsForSteps = 1.3;
    private const double FewestAcross = 128;
    private const double FewestAcrossRoughly = 64;

    private readonly PupilGrid[,] pupils;

    /// <summary>Chooses sizes and makes the pupil grids.</summary>
    /// <param name="optics">What is held fixed.</param>
    /// <param name="modes">Modes of the fit.</param>
    /// <param name="largestDefocusNm">Largest W020 that will be asked for; sets the size of the field.</param>
    /// <param name="grade">How finely.</param>
    /// <param name="team">Workers.</param>
    /// <param name="memory">Where the grids live.</param>
    public PairGrids(PairOptics optics, IReadOnlyList<ZernikeIndex> modes, double largestDefocusNm, PairModelGrade grade, Team team, MatrixLease memory)
    {
        double finest = optics.WavelengthsNm.Min() * 1e-3 * optics.FocalRatio / 2;

        // A twentieth below the full rate folds back only the last twentieth of the transfer function, which holds a
        // thousandth of the contrast before seeing and nothing after.
        int over = OversamplingFor(Math.Min(optics.PitchUm / finest / 1.05, optics.Cutoff + optics.HighestPassed));
        double discPixels = optics.BlurPixels(largestDefocusNm) + 8 * finest / optics.PitchUm;
        double across = (grade == PairModelGrade.Exact ? FewestAcross : FewestAcrossRoughly) * 2 * finest / optics.PitchUm;
        double discs = grade switch
        {
            PairModelGrade.Exact => FieldInDiscs,
            PairModelGrade.Start => FieldInDiscsRoughly,
            _ => FieldInDiscsForSteps,
        };
        double field = Math.Max(discs * discPixels, across);
        Oversampling = over;
        Size = Fft.GoodSize(over * (int)Math.Ceiling(Math.Max(field, optics.Window)), LowestMultiple(over));
        NarrowSize = Math.Min(Size, Fft.GoodSize(over * Math.Max(optics.Window, (int)Math.Ceiling(1.3 * discPixels)), LowestMultiple(over)));
        Transform = new Fft(Size);
        double step = optics.PitchUm / over;
        Waves = optics.WavelengthsNm.Length;
        pupils = new PupilGrid[2, Waves];
        team.For(Waves, (l, _) =>
        {
            double nm = optics.WavelengthsNm[l];
            double samples = Size * step / (nm * 1e-3 * optics.FocalRatio);
            pupils[0, l] = new PupilGrid(optics.Shape, modes, samples / optics.Stretch[0], nm, optics.Weights[l], memory);
            pupils[1, l] = optics.Stretch[1] == optics.Stretch[0] ? pupils[0, l]
                : new PupilGrid(optics.Shape, modes, samples / optics.Stretch[1], nm, optics.Weights[l], memory);
        });
        Largest = pupils.Cast<PupilGrid>().Max(g => g.Size);
    }

    /// <summary>Wavelengths.</summary>
    public int Waves { get; }

    /// <summary>Fine samples along a pixel.</summary>
    public int Oversampling { get; }

    /// <summary>Fine samples along the field.</summary>
    public int Size { get; }

    /// <summary>Fine samples along the middle of the field, which is enough for derivatives.</summary>
    public int NarrowSize { get; }

    /// <summary>Samples along the largest pupil grid.</summary>
    public int Largest { get; }

    /// <summary>From pupil to field.</summary>
    public Fft Transform { get; }

    /// <summary>Pupil grid of an image at a wavelength.</summary>
    public PupilGrid Pupil(int k, int wave) => pupils[k, wave];

    /// <summary>True when both images share the pupil grid of a wavelength.</summary>
    public bool Shared(int wave) => ReferenceEquals(pupils[0, wave], pupils[1, wave]);

    /// <summary>From amplitudes on the fine grid to intensity in the pair's units.</summary>
    public double ScaleOf(int k, int wave) => pupils[k, wave].Scale / ((double)Size * Size);

    /// <summary>Makes the first modes on every pupil grid that lacks them.</summary>
    public void EnsureModes(int count, Team team, MatrixLease memory)
    {
        foreach (PupilGrid grid in pupils)
        {
            grid.EnsureModes(count, team, memory); // does nothing the second time where both images share it
        }
    }

    // Whole samples a pixel: only numbers whose multiples the transform offers.
    private static int OversamplingFor(double wanted)
    {
        int[] offered = [1, 2, 3, 4, 6, 8, 9, 12, 16, 18, 24];
        int n = Math.Max(1, (int)Math.Ceiling(wanted - 1e-9));
        return offered.First(o => o >= Math.Min(n, 24));
    }

    // The folded grid must itself be a size on offer.
    private static int LowestMultiple(int over) => 4 * over;
}
