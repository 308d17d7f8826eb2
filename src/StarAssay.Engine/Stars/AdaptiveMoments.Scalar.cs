namespace StarAssay.Engine.Stars;

/// <content>The definition.</content>
internal static partial class AdaptiveMoments
{
    internal static WeightedSums SumsScalar(Stamp stamp, in Window w)
    {
        double s = 0, sx = 0, sy = 0, sxx = 0, sxy = 0, syy = 0;
        for (int y = w.YFrom; y <= w.YTo; y++)
        {
            float dy = y - w.Y;
            for (int x = w.XFrom; x <= w.XTo; x++)
            {
                float dx = x - w.X;
                float q = (dx * ((w.A * dx) + (w.B * dy))) + (w.C * dy * dy);
                double v = stamp[x, y] * MathF.Exp(q);
                s += v;
                sx += v * dx;
                sy += v * dy;
                sxx += v * dx * dx;
                sxy += v * dx * dy;
                syy += v * dy * dy;
            }
        }

        return new WeightedSums(s, sx, sy, sxx, sxy, syy);
    }
}
