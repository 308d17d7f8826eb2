namespace StarAssay.Engine.Stars;

/// <content>The definition.</content>
internal static partial class CurveOfGrowth
{
    internal static double InsideScalar(Stamp stamp, double cx, double cy, double radius)
    {
        int yFrom = Math.Max(0, (int)Math.Ceiling(cy - radius - 0.5)), yTo = Math.Min(stamp.Side - 1, (int)Math.Floor(cy + radius + 0.5));
        double sum = 0;
        for (int y = yFrom; y <= yTo; y++)
        {
            (int from, int to, int fullFrom, int fullTo) = Span(stamp.Side, cx, cy, radius * radius, y);
            ReadOnlySpan<float> row = stamp.Pixels.AsSpan(y * stamp.Stride, stamp.Side);
            for (int x = from; x <= to; x++)
            {
                sum += row[x] * (x >= fullFrom && x <= fullTo ? 1 : Overlap(x - cx, y - cy, radius));
            }
        }

        return sum;
    }
}
