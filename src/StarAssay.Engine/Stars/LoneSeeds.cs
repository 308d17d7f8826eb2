namespace StarAssay.Engine.Stars;

/// <summary>
/// Tells in one sweep which seeds have no other near them: most, and they need no search for neighbors.
/// </summary>
internal static class LoneSeeds
{
    /// <summary>For each seed, whether it surely stands alone. Some that do are not told; none that does not.</summary>
    /// <param name="seeds">Seeds, row by row; in any other order none is called alone.</param>
    /// <param name="width">Columns of the frame.</param>
    /// <param name="reach">Distance within which another seed counts, pixels.</param>
    public static bool[] Find(Seed[] seeds, int width, double reach)
    {
        // Strips as wide as the reach: whatever is near lies in the own strip or in one beside it. Of each strip the last seed is
        // enough: what came before it and is near has been near to it too, and neither is alone.
        int strip = (int)Math.Ceiling(reach) + 1, strips = (width / strip) + 3;
        int[] last = new int[strips];
        Array.Fill(last, -1);
        bool[] alone = new bool[seeds.Length];
        for (int i = 0; i < seeds.Length; i++)
        {
            Seed seed = seeds[i];
            if (i > 0 && seed.Y < seeds[i - 1].Y)
            {
                Array.Clear(alone);
                return alone;
            }

            alone[i] = true;
            int own = (seed.X / strip) + 1;
            for (int k = own - 1; k <= own + 1; k++)
            {
                int other = last[k];
                if (other >= 0 && seed.Y - seeds[other].Y <= reach)
                {
                    alone[i] = alone[other] = false;
                }
            }

            last[own] = i;
        }

        return alone;
    }
}
