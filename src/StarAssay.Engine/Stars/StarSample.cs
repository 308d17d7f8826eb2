namespace StarAssay.Engine.Stars;

/// <summary>Some of a frame's peaks from all over the field, so that no single bright object rules the choice.</summary>
internal static class StarSample
{
    private const int Tiles = 4;

    // The very brightest are often clipped.
    private const int SkipOne = 50;
    private const int Spread = 8;

    /// <summary>Picks peaks.</summary>
    /// <param name="peaks">All of them.</param>
    /// <param name="width">Columns of the frame.</param>
    /// <param name="height">Rows of the frame.</param>
    /// <param name="wanted">About how many.</param>
    /// <param name="spread">Of every so many of the brighter ones one is taken.</param>
    /// <returns>Chosen peaks: of each part of the field its brighter ones, every so many, so that a range of brightness counts.</returns>
    public static Seed[] Pick(Seed[] peaks, int width, int height, int wanted, int spread = Spread)
    {
        int[] ranked = Seed.BySignificance(peaks);
        int skip = ranked.Length / SkipOne;
        var tiles = new List<int>[Tiles * Tiles];
        for (int t = 0; t < tiles.Length; t++)
        {
            tiles[t] = [];
        }

        // More of a tile are never asked for.
        int most = spread * wanted;
        for (int k = skip; k < ranked.Length; k++)
        {
            Seed seed = peaks[ranked[k]];
            List<int> tile = tiles[((int)((long)seed.Y * Tiles / height) * Tiles) + (int)((long)seed.X * Tiles / width)];
            if (tile.Count < most)
            {
                tile.Add(ranked[k]);
            }
        }

        // Where tiles hold few, the others give more.
        int quota = Math.Max(1, wanted / tiles.Length);
        while (quota < wanted && tiles.Sum(t => Math.Min(t.Count, quota)) < Math.Min(wanted, ranked.Length - skip))
        {
            quota *= 2;
        }

        var chosen = new List<Seed>(2 * wanted);
        foreach (List<int> tile in tiles)
        {
            int use = Math.Min(tile.Count, spread * quota), step = Math.Max(1, use / quota), take = Math.Min(quota, use / step);
            for (int i = 0; i < take; i++)
            {
                chosen.Add(peaks[tile[i * step]]);
            }
        }

        return [.. chosen];
    }
}
