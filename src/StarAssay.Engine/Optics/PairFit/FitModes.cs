using System.Collections;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>
/// The modes that a fit may use, in the order in which they are freed, and how many each rung of the ladder frees. First all orders up to
/// the eighth; then rings, radial orders without angle up to <see cref="FinestRing"/>, since polishing and testing err in
/// rings (a turned edge, a zone); last the other modes of finer orders.
/// </summary>
/// <remarks>The whole orders are circle polynomials. What follows them is orthonormal over the ring that the obstruction leaves
/// (Mahajan 1981): fine circle polynomials can cancel each other there and tower up where no light passes. Without an
/// obstruction the two are the same.</remarks>
internal sealed class FitModes : IReadOnlyList<ZernikeIndex>
{
    /// <summary>Up to this Noll number orders are freed whole; rings come in when the limit is higher.</summary>
    public const int LastPlainNoll = 45;

    /// <summary>Highest radial order of a ring. In u = rho^2 these are Legendre polynomials of half the order: at the rim, where edges turn, they
    /// resolve 0.01 of the radius, in the middle a tenth, and seeing of an arcsecond blurs what is finer.</summary>
    public const int FinestRing = 32;

    private readonly List<int> rungs = [];
    private readonly ZernikeIndex[] modes;

    /// <summary>Lists the modes.</summary>
    /// <param name="obstruction">Ratio of diameters.</param>
    /// <param name="leastNoll">The lowest rung frees the modes up to here.</param>
    /// <param name="mostNoll">The highest rung frees the modes up to here, and all rings when it lies beyond <see cref="LastPlainNoll"/>.</param>
    public FitModes(double obstruction, int leastNoll, int mostNoll)
    {
        int lastPlain = Math.Min(mostNoll, Math.Max(leastNoll, LastPlainNoll));
        var list = new List<ZernikeIndex>(ZernikeIndex.NollRange(5, lastPlain));
        rungs.Add(CountUpTo(leastNoll));
        for (int noll = NextOrder(leastNoll); noll < lastPlain; noll = NextOrder(noll))
        {
            rungs.Add(CountUpTo(noll));
        }

        AddRung(list.Count);
        FirstRungs = rungs.Count;
        if (mostNoll > LastPlainNoll)
        {
            int beyond = ZernikeIndex.FromNoll(lastPlain).N;
            for (int n = beyond + 2 - (beyond % 2); n <= FinestRing; n += 2)
            {
                list.Add(new ZernikeIndex(n, 0));
                if (n == 16 || n == 24)
                {
                    AddRung(list.Count);
                }
            }

            AddRung(list.Count);
            for (int noll = lastPlain; noll < mostNoll;)
            {
                int last = Math.Min(mostNoll, NextOrder(noll));
                list.AddRange(ZernikeIndex.NollRange(noll + 1, last).Where(m => m.M != 0));
                AddRung(list.Count);
                noll = last;
            }
        }

        modes = [.. list];
        Whole = CountUpTo(lastPlain);
        Ring = new ZernikeAnnulus(obstruction, modes.Max(m => m.N));
    }

    /// <inheritdoc/>
    public int Count => modes.Length;

    /// <summary>How many at the beginning are circle polynomials of whole orders.</summary>
    public int Whole { get; }

    /// <inheritdoc/>
    public ZernikeIndex this[int index] => modes[index];

    /// <summary>What the finer ones belong to.</summary>
    public ZernikeAnnulus Ring { get; }

    /// <summary>How many modes each rung frees, growing.</summary>
    public IReadOnlyList<int> Rungs => rungs;

    /// <summary>Rungs of whole orders up to <see cref="LastPlainNoll"/>: what is looked at first.</summary>
    public int FirstRungs { get; }

    /// <summary>Modes up to a Noll number, among the whole orders that begin the list.</summary>
    public static int CountUpTo(int noll) => noll - 4;

    /// <summary>Value of a mode. Fine ones rise steeply beyond the rim; samples there, which the rim only touches, take the rim's value.</summary>
    public double Evaluate(int index, double x, double y)
    {
        if (index < Whole)
        {
            return Zernike.Evaluate(modes[index], x, y);
        }

        double scale = ToRing(Math.Sqrt((x * x) + (y * y)));
        return Ring.Evaluate(modes[index], x * scale, y * scale);
    }

    /// <summary>What brings a point at some radius to the nearest one that fine modes are taken at.</summary>
    public double ToRing(double rho) => rho > 1 ? 1 / rho : rho < Ring.Obstruction && rho > 0 ? Ring.Obstruction / rho : 1;

    /// <inheritdoc/>
    public IEnumerator<ZernikeIndex> GetEnumerator() => ((IEnumerable<ZernikeIndex>)modes).GetEnumerator();

    /// <inheritdoc/>
    IEnumerator IEnumerable.GetEnumerator() => GetEnumerator();

    // The last Noll number of the order in which the next mode lies.
    private static int NextOrder(int noll)
    {
        int n = ZernikeIndex.FromNoll(noll + 1).N;
        return (n + 1) * (n + 2) / 2;
    }

    private void AddRung(int count)
    {
        if (rungs[^1] < count)
        {
            rungs.Add(count);
        }
    }
}
