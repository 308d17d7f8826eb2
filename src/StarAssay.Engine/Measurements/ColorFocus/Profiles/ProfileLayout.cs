namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Which unknowns each profile knows of, and their order in the equations.</summary>
/// <remarks>A bin's own unknowns meet those of the frames but no other bin's; they come first.</remarks>
internal sealed class ProfileLayout
{
    /// <summary>Lays out the equations.</summary>
    /// <param name="maps">Of every shared value of a block, and every block, how it depends on the unknowns.</param>
    /// <param name="count">Number of unknowns.</param>
    public ProfileLayout(IReadOnlyList<LinearMap>[] maps, int count)
    {
        Count = count;
        int blocks = maps[0].Count;
        int[][] involved = [.. Enumerable.Range(0, blocks).Select(k => maps.SelectMany(m => m[k].Index).Distinct().ToArray())];
        Place = Places(involved, count);
        Unknowns = new int[blocks][];
        Derivative = new double[blocks][];
        First = [.. Enumerable.Range(0, count)];
        for (int k = 0; k < blocks; k++)
        {
            Unknowns[k] = [.. involved[k].Select(u => Place[u]).Order()];
            int size = Unknowns[k].Length;
            Derivative[k] = new double[maps.Length * size];
            for (int v = 0; v < maps.Length; v++)
            {
                LinearMap map = maps[v][k];
                for (int i = 0; i < map.Index.Length; i++)
                {
                    Derivative[k][(v * size) + Array.IndexOf(Unknowns[k], Place[map.Index[i]])] += map.Coefficient[i];
                }
            }

            foreach (int u in Unknowns[k])
            {
                First[u] = Math.Min(First[u], Unknowns[k][0]);
            }
        }
    }

    /// <summary>Number of unknowns.</summary>
    public int Count { get; }

    /// <summary>Of each unknown in the equations.</summary>
    public int[] Place { get; }

    /// <summary>First unknown that each one meets, by place.</summary>
    public int[] First { get; }

    /// <summary>Places of the unknowns of each block.</summary>
    public int[][] Unknowns { get; }

    /// <summary>Of a block's shared values by them, value by value.</summary>
    public double[][] Derivative { get; }

    /// <summary>Those that meet few others first, and what belongs to one block side by side.</summary>
    private static int[] Places(int[][] involved, int count)
    {
        var meets = new HashSet<int>[count];
        var met = new int[count];
        Array.Fill(met, int.MaxValue);
        for (int u = 0; u < count; u++)
        {
            meets[u] = [];
        }

        for (int k = 0; k < involved.Length; k++)
        {
            foreach (int u in involved[k])
            {
                met[u] = Math.Min(met[u], k);
                meets[u].UnionWith(involved[k]);
            }
        }

        // Bins' own unknowns differ by a frame that is left out here and there; a fourth of all is far more than that.
        int[] order = [.. Enumerable.Range(0, count).OrderBy(u => meets[u].Count > count / 4).ThenBy(u => met[u])];
        var place = new int[count];
        for (int i = 0; i < count; i++)
        {
            place[order[i]] = i;
        }

        return place;
    }
}
