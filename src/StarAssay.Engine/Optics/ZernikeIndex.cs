using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>One Zernike polynomial, named by radial order n and signed angular frequency m (m &gt; 0 cosine, m &lt; 0 sine).</summary>
/// <param name="N">Radial order, at least 0.</param>
/// <param name="M">Angular frequency; |M| does not exceed N and has its parity.</param>
/// <remarks>Indices: OSA/ANSI Z80.28 (starts at 0), Noll, J. Opt. Soc. Am. 66, 207 (1976) (starts at 1), and the
/// fringe index (starts at 1; OEIS A375510). The three number the same polynomials; the fringe index belongs to
/// another normalisation, so only the index is converted here, never a coefficient.</remarks>
public readonly record struct ZernikeIndex(int N, int M)
{
    private const int LastNamed = 136;
    private static readonly string[] Orders = ["", "", "secondary ", "tertiary ", "quaternary "];

    /// <summary>Angular frequency without its sign.</summary>
    public int Frequency => Math.Abs(M);

    /// <summary>OSA/ANSI single index, from 0.</summary>
    public int Osa => ((N * (N + 2)) + M) / 2;

    /// <summary>Noll index, from 1: by n, then |m|; even = cosine.</summary>
    public int Noll
    {
        get
        {
            // Within order n the frequencies go up; each |m| > 0 takes two numbers, the even one for the cosine.
            int first = (N * (N + 1) / 2) + 1;
            if (M == 0)
            {
                return first;
            }

            int low = first + Frequency - 1;
            bool lowIsEven = (low & 1) == 0;
            return lowIsEven == (M > 0) ? low : low + 1;
        }
    }

    /// <summary>Fringe index, from 1.</summary>
    public int Fringe
    {
        get
        {
            int half = 1 + ((N + Frequency) / 2);
            return (half * half) - (2 * Frequency) + (M < 0 ? 1 : 0);
        }
    }

    /// <summary>The trade's name, for example "coma x" or "spherical".</summary>
    public string Name => (N, Frequency) switch
    {
        (0, 0) => "piston",
        (1, 1) => M > 0 ? "tilt x" : "tilt y",
        (2, 0) => "defocus",
        (_, 0) => Prefix((N / 2) - 1) + "spherical",
        (_, 1) => Prefix((N - 1) / 2) + (M > 0 ? "coma x" : "coma y"),
        (_, 2) => Prefix(N / 2) + (M > 0 ? "astigmatism 0" : "astigmatism 45"),
        (_, 3) => Prefix((N - 1) / 2) + (M > 0 ? "trefoil x" : "trefoil y"),
        (_, 4) => Prefix((N - 2) / 2) + (M > 0 ? "quadrafoil 0" : "quadrafoil 22.5"),
        _ => $"order {N}, frequency {Frequency} {(M > 0 ? "cosine" : "sine")}",
    };

    /// <summary>The index with this <see cref="Name"/>; a family alone ("coma", "astigmatism") is its part along x.</summary>
    /// <remarks>An underscore counts as a blank, so that the names can be written as arguments.</remarks>
    public static ZernikeIndex FromName(string name)
    {
        string wanted = name.Replace('_', ' ').Trim();
        foreach (string ending in (string[])["", " x", " 0"])
        {
            for (int noll = 1; noll <= LastNamed; noll++)
            {
                ZernikeIndex index = FromNoll(noll);
                if (string.Equals(index.Name, wanted + ending, StringComparison.Ordinal))
                {
                    return index;
                }
            }
        }

        string[] known = [.. NollRange(2, 15).Select(i => i.Name.Replace(' ', '_'))];
        throw new InputException("zernike.name",
            $"No Zernike polynomial is called '{name}'. Call it by its Noll number, or one of {string.Join(", ", known)}.", name);
    }

    /// <summary>The index with this OSA/ANSI number.</summary>
    public static ZernikeIndex FromOsa(int osa)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(osa);
        int n = 0;
        while ((n + 1) * (n + 2) / 2 <= osa)
        {
            n++;
        }

        return new ZernikeIndex(n, (2 * osa) - (n * (n + 2)));
    }

    /// <summary>The index with this Noll number.</summary>
    public static ZernikeIndex FromNoll(int noll)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(noll, 1);
        int n = 0;
        while ((n + 1) * (n + 2) / 2 < noll)
        {
            n++;
        }

        int k = noll - (n * (n + 1) / 2) - 1; // 0 .. n within the order
        int m = (n & 1) == 0 ? 2 * ((k + 1) / 2) : (2 * (k / 2)) + 1;
        return new ZernikeIndex(n, (noll & 1) == 0 ? m : -m);
    }

    /// <summary>Noll numbers from <paramref name="first"/> to <paramref name="last"/>, both included.</summary>
    public static ZernikeIndex[] NollRange(int first, int last) =>
        [.. Enumerable.Range(first, last - first + 1).Select(FromNoll)];

    /// <summary>Throws unless n and m belong together.</summary>
    public void RequireValid()
    {
        if (N < 0 || Frequency > N || ((N - Frequency) & 1) != 0)
        {
            throw new InputException("zernike.index", $"There is no Zernike polynomial with n = {N}, m = {M}: |m| must not exceed n and must have its parity.",
                "zernike");
        }
    }

    private static string Prefix(int order) => order < Orders.Length ? Orders[Math.Max(order, 0)] : $"{order}th ";
}
