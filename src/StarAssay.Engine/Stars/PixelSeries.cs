namespace StarAssay.Engine.Stars;

/// <summary>
/// A round Moffat profile of unit light integrated over a pixel: A t^-beta (1 + c1/t + c2/t^2 + c3/t^3 + c4/t^4) at the
/// pixel's center, t = 1 + r^2/alpha^2.
/// </summary>
/// <remarks>
/// The mean over a square of side 1 is I + L I / 24 + [(d^4/dx^4 + d^4/dy^4) / 1920 + d^4/dx^2dy^2 / 576] I + ..., L the Laplacian.
/// The bracket is L L (1/1920 + 1/11520) and a part in cos 4 phi that is left out: it takes from one pixel of a ring what it gives to
/// the next. L t^-p = (4/alpha^2) [p^2 t^-(p+1) - p (p+1) t^-(p+2)].
/// </remarks>
internal readonly record struct PixelSeries
{
    /// <summary>The series of one profile.</summary>
    public PixelSeries(double alpha, double beta)
    {
        double square = alpha * alpha, a = 1 / (6 * square), b = 16 * ((1.0 / 1920) + (1.0 / 11520)) / (square * square), p = beta;
        Amplitude = (float)((beta - 1) / (Math.PI * square));
        PerSquare = (float)(1 / square);
        Beta = (float)beta;
        C1 = (float)(a * p * p);
        C2 = (float)((b * p * p * (p + 1) * (p + 1)) - (a * p * (p + 1)));
        C3 = (float)(-2 * b * p * (p + 1) * (p + 1) * (p + 2));
        C4 = (float)(b * p * (p + 1) * (p + 2) * (p + 3));
    }

    public float Amplitude { get; }

    public float PerSquare { get; }

    public float Beta { get; }

    public float C1 { get; }

    public float C2 { get; }

    public float C3 { get; }

    public float C4 { get; }
}
