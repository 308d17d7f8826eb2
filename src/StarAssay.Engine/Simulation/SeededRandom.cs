using System.Numerics;

namespace StarAssay.Engine.Simulation;

/// <summary>
/// Random numbers for one row or one star: a stream named by (seed, stream, part), so that the same seed gives the same bits
/// whatever the threads do.
/// </summary>
/// <remarks>Generator xoshiro256** by Blackman and Vigna (2018), state filled by splitmix64, both published as public domain
/// algorithms. Poisson numbers by Hormann's transformed rejection (1993, Insurance: Mathematics and Economics 12, 39), normal
/// numbers by Marsaglia's polar method.</remarks>
public struct SeededRandom
{
    private ulong a;
    private ulong b;
    private ulong c;
    private ulong d;
    private double spare;
    private bool hasSpare;

    /// <summary>The stream of this name.</summary>
    public SeededRandom(long seed, long stream, long part = 0)
    {
        ulong state = Mix((ulong)seed) ^ Mix((ulong)stream + 0x9E3779B97F4A7C15UL) ^ (Mix((ulong)part + 0xD1B54A32D192ED03UL) * 3);
        a = Mix(state += 0x9E3779B97F4A7C15UL);
        b = Mix(state += 0x9E3779B97F4A7C15UL);
        c = Mix(state += 0x9E3779B97F4A7C15UL);
        d = Mix(state + 0x9E3779B97F4A7C15UL);
        spare = 0;
        hasSpare = false;
    }

    /// <summary>A number for one place of a fixed pattern, 0 to below 1.</summary>
    public static double PatternNumber(long seed, long place) =>
        (PatternBits(seed, place) >> 11) * (1.0 / (1UL << 53));

    /// <summary>64 bits for one place of a fixed pattern.</summary>
    public static ulong PatternBits(long seed, long place) =>
        Mix(Mix((ulong)seed ^ 0xA0761D6478BD642FUL) + ((ulong)place * 0x9E3779B97F4A7C15UL));

    /// <summary>64 random bits.</summary>
    public ulong NextBits()
    {
        ulong result = BitOperations.RotateLeft(b * 5, 7) * 9;
        ulong t = b << 17;
        c ^= a;
        d ^= b;
        b ^= c;
        a ^= d;
        c ^= t;
        d = BitOperations.RotateLeft(d, 45);
        return result;
    }

    /// <summary>Uniform, 0 to below 1.</summary>
    public double NextUniform() => (NextBits() >> 11) * (1.0 / (1UL << 53));

    /// <summary>Normal with mean 0 and variance 1.</summary>
    public double NextNormal()
    {
        if (hasSpare)
        {
            hasSpare = false;
            return spare;
        }

        double x;
        double y;
        double s;
        do
        {
            x = (2 * NextUniform()) - 1;
            y = (2 * NextUniform()) - 1;
            s = (x * x) + (y * y);
        }
        while (s is >= 1 or 0);
        double factor = Math.Sqrt(-2 * Math.Log(s) / s);
        spare = y * factor;
        hasSpare = true;
        return x * factor;
    }

    /// <summary>Poisson number with the given mean.</summary>
    public double NextPoisson(double mean)
    {
        if (!(mean > 0))
        {
            return 0;
        }

        return mean < 10 ? Multiplied(mean) : mean < 1e8 ? Transformed(mean) : Math.Round(mean + (Math.Sqrt(mean) * NextNormal()));
    }

    private static ulong Mix(ulong z)
    {
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9UL;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EBUL;
        return z ^ (z >> 31);
    }

    private double Multiplied(double mean)
    {
        double limit = Math.Exp(-mean);
        double product = NextUniform();
        int count = 0;
        while (product > limit)
        {
            product *= NextUniform();
            count++;
        }

        return count;
    }

    private double Transformed(double mean)
    {
        double root = Math.Sqrt(mean);
        double bb = 0.931 + (2.53 * root);
        double aa = -0.059 + (0.02483 * bb);
        double inverse = 1.1239 + (1.1328 / (bb - 3.4));
        double quick = 0.9277 - (3.6224 / (bb - 2));
        while (true)
        {
            double u = NextUniform() - 0.5;
            double v = NextUniform();
            double us = 0.5 - Math.Abs(u);
            double k = Math.Floor((((2 * aa / us) + bb) * u) + mean + 0.43);
            if (us >= 0.07 && v <= quick)
            {
                return k;
            }

            if (k < 0 || (us < 0.013 && v > us))
            {
                continue;
            }

            double left = Math.Log(v * inverse / ((aa / (us * us)) + bb));
            if (left <= (k * Math.Log(mean)) - mean - MathNet.Numerics.SpecialFunctions.GammaLn(k + 1))
            {
                return k;
            }
        }
    }
}
