namespace StarAssay.Engine.Numerics;

/// <content>The last part of a pass: sixteen transforms lie side by side, one a lane, and become sixteen rows.</content>
internal sealed partial class Fft
{
    private const int PointFloats = 2 * Lanes;

    private unsafe void Store(float* from, in SplitMatrix target, int column, int columns, int first, int count)
    {
        int stride = target.Stride;
        float* re = target.RePointer + (column * stride);
        float* im = target.ImPointer + (column * stride);
        float** points = stackalloc float*[Lanes];
        int at = Wrap(first);
        for (int k = 0; k < count; k += Lanes)
        {
            for (int i = 0; i < Lanes; i++)
            {
                points[i] = from + (at * PointFloats);
                at = at + 1 == Size ? 0 : at + 1;
            }

            if (columns < Lanes)
            {
                for (int c = 0; c < columns; c++)
                {
                    for (int i = 0; i < Lanes; i++)
                    {
                        re[(c * stride) + k + i] = points[i][c];
                        im[(c * stride) + k + i] = points[i][c + Lanes];
                    }
                }
            }
            else
            {
                Transposition.Block(points, 0, re + k, stride);
                Transposition.Block(points, Lanes, im + k, stride);
            }
        }
    }
}
