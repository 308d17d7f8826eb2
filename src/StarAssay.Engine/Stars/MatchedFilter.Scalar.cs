namespace StarAssay.Engine.Stars;

/// <content>The definition.</content>
internal sealed unsafe partial class MatchedFilter
{
    internal int RowScalar(float** rows, int width, float* work, float* filtered, float* threshold, int* found)
    {
        for (int x = 0; x < width; x++)
        {
            work[x] = Down(rows, x);
        }

        RepeatEnds(work, width);
        int count = 0;
        for (int x = 0; x < width; x++)
        {
            float value = (center * work[x]) + (near * (work[x - 1] + work[x + 1])) + (far * (work[x - 2] + work[x + 2]));
            filtered[x] = value;
            if (value > threshold[x])
            {
                found[count++] = x;
            }
        }

        return count;
    }

    /// <summary>The five taps down one column.</summary>
    private float Down(float** rows, int x) =>
        (center * rows[2][x]) + (near * (rows[1][x] + rows[3][x])) + (far * (rows[0][x] + rows[4][x]));

    /// <summary>The row's ends are repeated outwards, two pixels.</summary>
    private static void RepeatEnds(float* work, int width)
    {
        work[-1] = work[-2] = work[0];
        work[width] = work[width + 1] = work[width - 1];
    }
}
