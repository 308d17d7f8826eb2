namespace StarAssay.Engine.Stars;

/// <summary>Shift, turn and scale of a plane: x' = A x - B y + X, y' = B x + A y + Y.</summary>
internal readonly record struct Similarity(double A, double B, double X, double Y)
{
    /// <summary>Leaves everything where it is.</summary>
    public static Similarity None => new(1, 0, 0, 0);

    /// <summary>Change of scale.</summary>
    public double Scale => Math.Sqrt((A * A) + (B * B));

    /// <summary>Rotation from +x towards +y, degrees.</summary>
    public double TurnDeg => Math.Atan2(B, A) * 180 / Math.PI;

    /// <summary>Where a point goes.</summary>
    public (double X, double Y) At(double x, double y) => ((A * x) - (B * y) + X, (B * x) + (A * y) + Y);

    /// <summary>First this, then another.</summary>
    public Similarity Then(Similarity next)
    {
        (double x, double y) = next.At(X, Y);
        return new((next.A * A) - (next.B * B), (next.B * A) + (next.A * B), x, y);
    }

    /// <summary>The one that brings two points onto two others.</summary>
    public static Similarity Of((double X, double Y) p, (double X, double Y) q, (double X, double Y) toP, (double X, double Y) toQ)
    {
        (double dx, double dy, double ex, double ey) = (q.X - p.X, q.Y - p.Y, toQ.X - toP.X, toQ.Y - toP.Y);
        double length2 = (dx * dx) + (dy * dy);
        double a = ((dx * ex) + (dy * ey)) / length2;
        double b = ((dx * ey) - (dy * ex)) / length2;
        return new(a, b, toP.X - (a * p.X) + (b * p.Y), toP.Y - (b * p.X) - (a * p.Y));
    }

    /// <summary>Least squares through pairs of points; at least two are needed.</summary>
    public static Similarity Fit(IReadOnlyList<((double X, double Y) From, (double X, double Y) To)> pairs)
    {
        (double fx, double fy) = (pairs.Average(p => p.From.X), pairs.Average(p => p.From.Y));
        (double tx, double ty) = (pairs.Average(p => p.To.X), pairs.Average(p => p.To.Y));
        (double dot, double cross, double square) = (0, 0, 0);
        foreach (((double X, double Y) from, (double X, double Y) to) in pairs)
        {
            (double dx, double dy, double ex, double ey) = (from.X - fx, from.Y - fy, to.X - tx, to.Y - ty);
            dot += (dx * ex) + (dy * ey);
            cross += (dx * ey) - (dy * ex);
            square += (dx * dx) + (dy * dy);
        }

        (double a, double b) = square > 0 ? (dot / square, cross / square) : (1, 0);
        return new(a, b, tx - (a * fx) + (b * fy), ty - (b * fx) - (a * fy));
    }
}
