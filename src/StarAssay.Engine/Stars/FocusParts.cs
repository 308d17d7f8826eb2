using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Tells a field whose focus changes from one that is in focus all over. Focus changes smoothly with the place, so that a disc stands among discs and a
/// compact star among compact stars; before a galaxy or nebula stars in focus stand among the knots, too.
/// </summary>
internal static class FocusParts
{
    // Of so many nearest objects most tell.
    private const int Neighbors = 3;

    // Where discs and stars are mixed by chance at most half of the rarer kind stand among their own; in a field nearly all do, but those at the border.
    private const double OwnShare = 0.75;

    /// <summary>Whether discs and compact stars stand in different parts of the frame.</summary>
    /// <param name="discs">Discs.</param>
    /// <param name="stars">Compact stars, none of them on a disc.</param>
    /// <param name="frame">The frame.</param>
    /// <returns>False where either are too few to tell, too.</returns>
    public static bool Apart(Seed[] discs, Seed[] stars, Frame frame)
    {
        if (Math.Min(discs.Length, stars.Length) <= Neighbors)
        {
            return false;
        }

        Seed[] all = [.. discs, .. stars];
        double cell = Math.Sqrt((double)frame.Width * frame.Height * Neighbors / all.Length);
        var grid = new PointGrid([.. all.Select(s => (double)s.X)], [.. all.Select(s => (double)s.Y)], [.. Enumerable.Range(0, all.Length)], cell);
        Span<double> distance = stackalloc double[Neighbors + 1];
        Span<int> near = stackalloc int[Neighbors + 1];
        int ownDiscs = 0, ownStars = 0;
        for (int k = 0; k < all.Length; k++)
        {
            grid.Nearest(all[k].X, all[k].Y, -1, distance, near);
            int beside = 0;
            foreach (int other in near)
            {
                beside += other < discs.Length ? 1 : 0;
            }

            // Itself is among them.
            ownDiscs += k < discs.Length && 2 * (beside - 1) > Neighbors ? 1 : 0;
            ownStars += k >= discs.Length && 2 * beside < Neighbors ? 1 : 0;
        }

        return ownDiscs >= OwnShare * discs.Length && ownStars >= OwnShare * stars.Length;
    }
}
