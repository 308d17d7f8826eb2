namespace StarAssay.Engine.Optics;

/// <summary>
/// Zernike circle polynomials, normalised so that the mean of Z^2 over the unit disc is 1: a coefficient is the RMS
/// it contributes (Noll 1976; ISO 24157).
/// </summary>
/// <remarks>Radial parts are Jacobi polynomials taken by their three-term recurrence, which stays exact to high order
/// where the textbook sum of factorials loses all digits near n = 40. No trigonometry: rho^m cos(mt) and rho^m sin(mt)
/// are the parts of (x + iy)^m. Outside the unit disc the polynomial is continued, which edge samples need.</remarks>
public static class Zernike
{
    /// <summary>Value of one polynomial.</summary>
    /// <param name="index">Which.</param>
    /// <param name="x">Pupil coordinate to the right, 1 at the edge.</param>
    /// <param name="y">Pupil coordinate upwards, 1 at the edge.</param>
    public static double Evaluate(ZernikeIndex index, double x, double y) =>
        Norm(index) * Radial(index.N, index.Frequency, (x * x) + (y * y)) * Angular(index.M, x, y);

    /// <summary>Sum of polynomials with coefficients, in the unit of the coefficients.</summary>
    public static double Sum(IReadOnlyList<ZernikeIndex> indices, ReadOnlySpan<double> coefficients, double x, double y)
    {
        double sum = 0;
        for (int j = 0; j < indices.Count; j++)
        {
            sum += coefficients[j] == 0 ? 0 : coefficients[j] * Evaluate(indices[j], x, y);
        }

        return sum;
    }

    /// <summary>Rows of polynomial values at many points: element [j * points + p].</summary>
    /// <param name="indices">Which polynomials.</param>
    /// <param name="x">Pupil x of each point.</param>
    /// <param name="y">Pupil y of each point.</param>
    public static double[] Table(IReadOnlyList<ZernikeIndex> indices, ReadOnlySpan<double> x, ReadOnlySpan<double> y)
    {
        ArgumentOutOfRangeException.ThrowIfNotEqual(y.Length, x.Length);
        int points = x.Length;
        double[] table = new double[indices.Count * points];
        for (int j = 0; j < indices.Count; j++)
        {
            Span<double> row = table.AsSpan(j * points, points);
            for (int p = 0; p < points; p++)
            {
                row[p] = Evaluate(indices[j], x[p], y[p]);
            }
        }

        return table;
    }

    /// <summary>
    /// Coefficients of the same wavefront turned counterclockwise: W'(r, t) = W(r, t - angle). Every pair of equal n and
    /// |m| mixes with cos and sin of |m| times the angle; its length stays.
    /// </summary>
    /// <param name="indices">Which polynomials; a partner that is missing is taken as zero and must then be present in the result,
    /// so both partners have to be listed unless m = 0.</param>
    /// <param name="coefficients">In any unit.</param>
    /// <param name="angleRadians">Counterclockwise, from +x towards +y.</param>
    public static double[] Rotate(IReadOnlyList<ZernikeIndex> indices, ReadOnlySpan<double> coefficients, double angleRadians)
    {
        double[] turned = new double[coefficients.Length];
        for (int j = 0; j < indices.Count; j++)
        {
            int m = indices[j].Frequency;
            if (m == 0)
            {
                turned[j] = coefficients[j];
                continue;
            }

            int partner = IndexOf(indices, new ZernikeIndex(indices[j].N, -indices[j].M));
            if (partner < 0)
            {
                throw new ArgumentException($"Rotation needs both partners of n = {indices[j].N}, |m| = {m}.", nameof(indices));
            }

            (double s, double c) = Math.SinCos(m * angleRadians);
            turned[j] = (c * coefficients[j]) + (indices[j].M > 0 ? -s : s) * coefficients[partner];
        }

        return turned;
    }

    /// <summary>Square root of 1 over the mean of (radial x angular)^2 over the disc.</summary>
    public static double Norm(ZernikeIndex index) => Math.Sqrt(index.M == 0 ? index.N + 1 : 2 * (index.N + 1));

    /// <summary>R_n^m(rho) / rho^m as a function of rho^2: the Jacobi polynomial P_k^(0,m)(2 rho^2 - 1), k = (n - m)/2.</summary>
    internal static double Radial(int n, int m, double rho2)
    {
        int order = (n - m) / 2;
        double x = (2 * rho2) - 1;
        double before = 1;
        if (order == 0)
        {
            return before;
        }

        double now = 1 + ((m + 2) * (x - 1) / 2);
        for (int k = 2; k <= order; k++)
        {
            double two = (2 * k) + m;
            double next = ((two - 1) * ((two * (two - 2) * x) - ((double)m * m)) * now
                - (2.0 * (k - 1) * (k + m - 1) * two * before)) / (2.0 * k * (k + m) * (two - 2));
            (before, now) = (now, next);
        }

        return now;
    }

    /// <summary>rho^|m| cos(mt) for m at least 0, rho^|m| sin(|m|t) below.</summary>
    internal static double Angular(int m, double x, double y)
    {
        double re = 1;
        double im = 0;
        for (int k = Math.Abs(m); k > 0; k--)
        {
            (re, im) = ((re * x) - (im * y), (re * y) + (im * x));
        }

        return m < 0 ? im : re;
    }

    private static int IndexOf(IReadOnlyList<ZernikeIndex> indices, ZernikeIndex wanted)
    {
        for (int j = 0; j < indices.Count; j++)
        {
            if (indices[j] == wanted)
            {
                return j;
            }
        }

        return -1;
    }
}
