using MathNet.Numerics.LinearAlgebra;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Which unknown of a joint fit stands where.</summary>
/// <remarks>In order: the modes; then for each pair seeing (one, or one for each image), and for each image defocus, tilt x,
/// tilt y, light, background.</remarks>
/// <param name="Pairs">Pairs that are fitted together.</param>
/// <param name="ModeCount">Modes that are free.</param>
/// <param name="SeparateSeeing">True when each image has its own seeing.</param>
internal readonly record struct FitUnknowns(int Pairs, int ModeCount, bool SeparateSeeing)
{
    private const int PerImage = 5;

    /// <summary>How many there are.</summary>
    public int Count => ModeCount + (Pairs * PerPair);

    /// <summary>Unknowns of seeing in a pair.</summary>
    public int SeeingCount => SeparateSeeing ? 2 : 1;

    private int PerPair => SeeingCount + (2 * PerImage);

    /// <summary>Index of an image's seeing.</summary>
    public int Seeing(int pair, int k) => ModeCount + (pair * PerPair) + (SeparateSeeing ? k : 0);

    /// <summary>Index of an image's defocus; tilt x, tilt y, light and background follow.</summary>
    public int Image(int pair, int k) => ModeCount + (pair * PerPair) + SeeingCount + (k * PerImage);

    /// <summary>Index of an image's light.</summary>
    public int Light(int pair, int k) => Image(pair, k) + 3;

    /// <summary>Index of an image's background.</summary>
    public int Background(int pair, int k) => Image(pair, k) + 4;

    /// <summary>Values after a step.</summary>
    public PairState[] Moved(PairState[] from, Vector<double> step)
    {
        var moved = new PairState[from.Length];
        for (int p = 0; p < from.Length; p++)
        {
            PairState s = from[p].Copy();
            for (int j = 0; j < ModeCount; j++)
            {
                s.CoefficientsNm[j] += step[j];
            }

            for (int k = 0; k < 2; k++)
            {
                s.Seeing[k] = Math.Max(0, s.Seeing[k] + step[Seeing(p, k)]);
                int o = Image(p, k);
                s.DefocusNm[k] += step[o];
                s.TiltXNm[k] += step[o + 1];
                s.TiltYNm[k] += step[o + 2];
                s.Flux[k] += step[Light(p, k)];
                s.Background[k] += step[Background(p, k)];
            }

            moved[p] = s;
        }

        return moved;
    }
}
