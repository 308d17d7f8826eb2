namespace StarAssay.Engine.Stars;

/// <content>The definition.</content>
internal sealed unsafe partial class MatchedFilter
{
    internal bool SmoothScalar(float** inputs, int width, float** work, float** outputs, float* threshold, int** found, int* counts)
    {
        for (int row = 0; row < Rows; row++)
        {
            float* line = work[row];
            for (int x = 0; x < width; x++)
            {
                line[x] = Down(inputs + row, x);
                if (!float.IsFinite(line[x]))
                {
                    return false;
                }
            }

            RepeatEnds(line, width);
            int count = 0;
            for (int x = 0; x < width; x++)
            {
                float value = far * (line[x - 2] + line[x + 2]);
                value = float.MultiplyAddEstimate(near, line[x - 1] + line[x + 1], value);
                value = float.MultiplyAddEstimate(center, line[x], value);
                outputs[row][x] = value;
                if (value > threshold[x])
                {
                    found[row][count++] = x;
                }
            }

            counts[row] = count;
        }

        return true;
    }

    /// <summary>The five taps down one column.</summary>
    private float Down(float** rows, nint x)
    {
        float value = far * (rows[0][x] + rows[4][x]);
        value = float.MultiplyAddEstimate(near, rows[1][x] + rows[3][x], value);
        return float.MultiplyAddEstimate(center, rows[2][x], value);
    }

    /// <summary>The row's ends are repeated outwards, two pixels.</summary>
    private static void RepeatEnds(float* work, int width)
    {
        work[-1] = work[-2] = work[0];
        work[width] = work[width + 1] = work[width - 1];
    }
}
