using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>What is told of the place without coma.</summary>
public enum ComaFreeVerdict
{
    /// <summary>A place with its ellipse.</summary>
    Told,

    /// <summary>Farther from the middle than the corners are: a least distance, no place.</summary>
    Outside,

    /// <summary>No place.</summary>
    NotTold,
}

/// <summary>Where coma vanishes on the sensor: the axis of the telescope's coma meets it there.</summary>
/// <remarks>
/// Coma of third order over the field, whose middle may lie anywhere: Noll 8 + i Noll 7 = a + ib + s (x + iy), s real (nodal aberration theory:
/// Thompson 2005, J. Opt. Soc. Am. A 22, 1389, from memory). The place is -(a + ib) / s. As a ratio it has no normal distribution unless s stands
/// out: a place is told from five standard uncertainties of s on and within two half diagonals, and the least distance is Fieller's bound
/// (1954, J. R. Stat. Soc. B 16, 175, from memory), which holds whatever s. Lengths from the sensor's middle, x to the right, y up.
/// </remarks>
public sealed record ComaFreePoint
{
    // Standard uncertainties of s for a place; of the vector in the middle for a direction; of s for its sign.
    private const double SlopeTold = 5, VectorTold = 3, SignTold = 2;

    // Half diagonals within which a place is told: farther out nothing was measured.
    private const double Reach = 2;

    // One-sided and two-sided 95 %.
    private const double OneSided = 1.6449, TwoSided = 1.9600;

    // By how much a distance with a lower bound alone may be more, um: as good as endless.
    private const double Endless = 1e9;

    /// <summary>What is told.</summary>
    public required ComaFreeVerdict Verdict { get; init; }

    /// <summary>Why no place is told, a sentence; empty where it is.</summary>
    public required string Reason { get; init; }

    /// <summary>Place, to the right of the sensor's middle.</summary>
    public required Measured X { get; init; }

    /// <summary>Place, upwards.</summary>
    public required Measured Y { get; init; }

    /// <summary>Column of the place.</summary>
    public required Measured Column { get; init; }

    /// <summary>Row of the place.</summary>
    public required Measured Row { get; init; }

    /// <summary>Distance from the sensor's middle, what its uncertainty adds on average taken off its square.</summary>
    public required Measured Distance { get; init; }

    /// <summary>The same over half the diagonal.</summary>
    public required Measured Share { get; init; }

    /// <summary>Direction in which it lies; NaN where the coma in the middle does not stand out, and where the sign of its growth is open.</summary>
    public required Measured Direction { get; init; }

    /// <summary>Half axis of the ellipse of one standard uncertainty, the longer one.</summary>
    public required double EllipseLongUm { get; init; }

    /// <summary>The shorter one.</summary>
    public required double EllipseShortUm { get; init; }

    /// <summary>Direction of the longer one.</summary>
    public required double EllipseAngleDeg { get; init; }

    /// <summary>It is at least so far from the middle, with 95 % confidence; 0 where it may lie there.</summary>
    public required double AtLeastUm { get; init; }

    /// <summary>Whether it may as well lie the opposite way, since the sign of the growth is open.</summary>
    public required bool EitherWay { get; init; }

    /// <summary>Coma in the middle, Noll 8 (x) and Noll 7 (y), as used here.</summary>
    [Field(Unit = "nm")]
    public required double[] Middle { get; init; }

    /// <summary>How coma grows with the distance.</summary>
    public required Measured Slope { get; init; }

    // Lower bounds with which claims are held: at one standard uncertainty, and at 95 %.
    internal double LikelyLeastUm { get; private init; }

    /// <summary>The growth of coma that theory gives a single paraboloid whose stop is the mirror: a star d away from the axis has
    /// W131 = d / (32 N^3), the mean of tangential coma 3 theta / (16 N^2) (handbook formula, traced in the tests), and a Noll coefficient
    /// 1 / (3 sqrt 8) of it, pointing to the axis.</summary>
    /// <param name="focalRatio">N.</param>
    /// <param name="relative">Relative standard uncertainty of N.</param>
    internal static Measured ParaboloidSlope(double focalRatio, double relative)
    {
        double slope = -1e6 / (32 * Math.Pow(focalRatio, 3) * 3 * Math.Sqrt(8));
        return new Measured(slope, 3 * relative * Math.Abs(slope), "nm / mm");
    }

    /// <summary>Finds it.</summary>
    /// <param name="values">a and b in nm, s in nm per mm.</param>
    /// <param name="covariance">Theirs.</param>
    /// <param name="width">Columns of the sensor.</param>
    /// <param name="height">Rows.</param>
    /// <param name="pitchUm">Pixel pitch.</param>
    /// <param name="known">Growth that is known besides; null when there is none.</param>
    internal static ComaFreePoint Of(double[] values, Matrix<double> covariance, int width, int height, double pitchUm, Measured? known = null)
    {
        Vector<double> v = Vector<double>.Build.DenseOfArray(values);
        Matrix<double> c = covariance.Clone();
        string contradiction = "";
        if (known is { } theory)
        {
            // As one more measurement of s: what it changes in s it changes in a and b as they hang together.
            double variance = c[2, 2] + (theory.Uncertainty * theory.Uncertainty), away = theory.Value - v[2];
            if (Math.Abs(away) > 3.5 * Math.Sqrt(variance))
            {
                contradiction = $"Coma grows by {v[2]:0.00} ± {Math.Sqrt(c[2, 2]):0.00} nm/mm, a single paraboloid's by {theory.Value:0.00}: there is "
                    + "a corrector, or aperture, focal length or pixel pitch are not as stated.";
            }

            Vector<double> gain = c.Column(2) / variance;
            v += gain * away;
            c -= gain.OuterProduct(c.Row(2));
        }

        double pitch = pitchUm, half = 0.5e-3 * pitch * Math.Sqrt(((double)width * width) + ((double)height * height));
        double s = v[2], sigma = Math.Sqrt(c[2, 2]), x = -v[0] / s, y = -v[1] / s;
        double size = Math.Sqrt((v[0] * v[0]) + (v[1] * v[1]));
        double det = (c[0, 0] * c[1, 1]) - (c[0, 1] * c[0, 1]);
        double stands = Math.Sqrt(((v[0] * v[0] * c[1, 1]) - (2 * v[0] * v[1] * c[0, 1]) + (v[1] * v[1] * c[0, 0])) / det);
        bool vector = stands > VectorTold, sign = Math.Abs(s) > SignTold * sigma, slope = Math.Abs(s) > SlopeTold * sigma;
        double least = vector ? Least(v, c, sign ? OneSided : TwoSided, sign) : 0, likely = vector ? Least(v, c, 1, sign) : 0;
        double distance = Math.Sqrt((x * x) + (y * y));
        bool told = slope && distance <= Reach * half && contradiction.Length == 0;
        ComaFreeVerdict verdict = contradiction.Length > 0 ? ComaFreeVerdict.NotTold : told ? ComaFreeVerdict.Told
            : least > half ? ComaFreeVerdict.Outside : ComaFreeVerdict.NotTold;
        string reason = told ? "" : contradiction.Length > 0 ? contradiction : Why(verdict, slope, s, sigma, vector);

        // Of x = -a/s, y = -b/s to first order.
        Matrix<double> j = Matrix<double>.Build.DenseOfArray(new[,] { { -1 / s, 0, -x / s }, { 0, -1 / s, -y / s } });
        Matrix<double> p = j * c * j.Transpose();
        double mean = (p[0, 0] + p[1, 1]) / 2, apart = Math.Sqrt(Math.Pow((p[0, 0] - p[1, 1]) / 2, 2) + (p[0, 1] * p[0, 1]));
        double noise = p[0, 0] + p[1, 1], square = distance * distance;
        double ux = x / Math.Max(distance, 1e-300), uy = y / Math.Max(distance, 1e-300);
        double along = Math.Sqrt(Math.Max(0, (ux * ux * p[0, 0]) + (2 * ux * uy * p[0, 1]) + (uy * uy * p[1, 1])));
        var length = new Measured(1000 * Math.Sqrt(Math.Max(0, square - noise)), 1000 * (square > noise ? along : Math.Sqrt(noise / 2)), "um");
        Measured Told(double value, double uncertainty, string unit) => told ? new Measured(value, uncertainty, unit) : Measured.None(unit);

        // The direction is that of the vector in the middle, or opposite to it: s has no part in it but its sign.
        double angle = Math.Atan2(-v[1] * Math.Sign(s), -v[0] * Math.Sign(s)) * 180 / Math.PI;
        double cx = v[0] / Math.Max(size, 1e-300), cy = v[1] / Math.Max(size, 1e-300);
        double turn = Math.Sqrt(Math.Max(0, (cy * cy * c[0, 0]) - (2 * cx * cy * c[0, 1]) + (cx * cx * c[1, 1]))) / Math.Max(size, 1e-300) * 180 / Math.PI;
        bool pointed = vector && contradiction.Length == 0;
        return new ComaFreePoint
        {
            Verdict = verdict,
            Reason = reason,
            X = Told(1000 * x, 1000 * Math.Sqrt(p[0, 0]), "um"),
            Y = Told(1000 * y, 1000 * Math.Sqrt(p[1, 1]), "um"),
            Column = Told(((width - 1) / 2.0) + (1000 * x / pitch), 1000 * Math.Sqrt(p[0, 0]) / pitch, "pix"),
            Row = Told(((height - 1) / 2.0) + (1000 * y / pitch), 1000 * Math.Sqrt(p[1, 1]) / pitch, "pix"),
            Distance = Told(length.Value, length.Uncertainty, "um"),
            Share = Told(length.Value / (1000 * half), length.Uncertainty / (1000 * half), ""),
            Direction = pointed ? new Measured(angle, Math.Min(turn, 180 / Math.Sqrt(3)), "deg") : Measured.None("deg"),
            EllipseLongUm = told ? 1000 * Math.Sqrt(mean + apart) : double.NaN,
            EllipseShortUm = told ? 1000 * Math.Sqrt(Math.Max(0, mean - apart)) : double.NaN,
            EllipseAngleDeg = told ? 0.5 * Math.Atan2(2 * p[0, 1], p[0, 0] - p[1, 1]) * 180 / Math.PI : double.NaN,
            AtLeastUm = contradiction.Length > 0 ? 0 : 1000 * least,
            LikelyLeastUm = contradiction.Length > 0 ? 0 : 1000 * likely,
            EitherWay = pointed && !sign,
            Middle = [v[0], v[1]],
            Slope = new Measured(s, sigma, "nm / mm"),
        };
    }

    /// <summary>The distance as a claim is held against it: with its bar where the place is told, as a lower bound where only that is.</summary>
    /// <param name="kind">Which quantity.</param>
    /// <param name="wavelengthNm">Where it holds.</param>
    /// <param name="doubts">Why it must not decide.</param>
    internal Quantity Claimed(QuantityDefinition kind, double wavelengthNm, IReadOnlyList<string> doubts)
    {
        if (Verdict == ComaFreeVerdict.Told)
        {
            return kind.Of(Distance, Distance.Uncertainty, wavelengthNm) with { Doubts = doubts };
        }

        if (AtLeastUm > 0)
        {
            double bar = (LikelyLeastUm - AtLeastUm) / OneSided;
            return kind.Of(new Measured(LikelyLeastUm, bar, "um"), bar, wavelengthNm) with { MayBeMore = Endless, Doubts = doubts };
        }

        return kind.Of(Measured.None("um"), double.NaN, wavelengthNm) with { Doubts = [.. doubts, Reason] };
    }

    private static string Why(ComaFreeVerdict verdict, bool slope, double s, double sigma, bool vector)
    {
        string growth = $"coma grows by {s:0.00} ± {sigma:0.00} nm/mm over the sensor";
        if (slope)
        {
            return $"The place lies farther out than twice the corners ({growth}, beside much of it in the middle): only how far at least is told.";
        }

        if (verdict == ComaFreeVerdict.Outside)
        {
            return $"The place lies beyond the corners, but {growth}, which does not tell how far.";
        }

        return vector
            ? $"There is coma in the middle, but {growth}, which does not tell where it vanishes. More stars, brighter ones, or stars nearer to the "
                + "corners tell more."
            : $"No coma stands out in the middle, and {growth}: a corrected field, or too little light to see it. There is nothing to turn by these data.";
    }

    /// <summary>Smallest distance r = -a / s, a along the vector in the middle, with (a + r s)^2 within k^2 of its variance, mm.</summary>
    private static double Least(Vector<double> v, Matrix<double> c, double k, bool signKnown)
    {
        double size = Math.Sqrt((v[0] * v[0]) + (v[1] * v[1])), ex = v[0] / size, ey = v[1] / size;
        double aa = (ex * ex * c[0, 0]) + (2 * ex * ey * c[0, 1]) + (ey * ey * c[1, 1]), ass = (ex * c[0, 2]) + (ey * c[1, 2]);

        // a^2 - k^2 aa + 2 r (a s - k^2 as) + r^2 (s^2 - k^2 ss) = 0; between its roots, or outside of them, lies the region, r = 0 outside of it.
        double q0 = (size * size) - (k * k * aa), q1 = (size * v[2]) - (k * k * ass), q2 = (v[2] * v[2]) - (k * k * c[2, 2]);
        if (q0 <= 0)
        {
            return 0;
        }

        // In w = 1 / r: q0 w^2 + 2 q1 w + q2 = 0, whose roots are the ends of the inverse distance.
        double root = Math.Sqrt(Math.Max(0, (q1 * q1) - (q0 * q2)));
        double[] ends = [(-q1 + root) / q0, (-q1 - root) / q0];
        double most = signKnown ? ends.Select(w => w * -Math.Sign(v[2])).Max() : ends.Select(Math.Abs).Max();
        return most > 0 ? 1 / most : 0;
    }
}
