using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Stars;

/// <content>The definition: every pixel is smoothed and compared.</content>
internal sealed unsafe partial class MatchedFilter
{
    internal bool FindScalar<TPixels>(byte** inputs, int width, float* threshold, ReadOnlySpan<RowHits> hits)
        where TPixels : struct, IStoredPixels
    {
        if (TPixels.MayBeMissing)
        {
            for (int k = 0; k < Inputs; k++)
            {
                for (int x = 0; x < width; x++)
                {
                    if (!float.IsFinite(TPixels.Load(ref *inputs[k], x)))
                    {
                        return false;
                    }
                }
            }
        }

        for (int row = 0; row < Rows; row++)
        {
            for (int x = 0; x < width; x++)
            {
                float value = Smoothed<TPixels>(inputs + row, width, x);
                if (value > threshold[x])
                {
                    hits[row].Add(x, value);
                }
            }
        }

        return true;
    }
}
