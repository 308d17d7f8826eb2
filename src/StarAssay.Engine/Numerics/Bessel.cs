namespace StarAssay.Engine.Numerics;

/// <summary>Bessel function of order 0 from a table, good to 1e-5.</summary>
internal static class Bessel
{
    private const double TableStep = 0.01;
    private static readonly double[] Table = [.. Enumerable.Range(0, 30000).Select(i => MathNet.Numerics.SpecialFunctions.BesselJ(0, i * TableStep))];

    public static double J0(double x)
    {
        double t = x / TableStep;
        int i = (int)t;
        return i + 1 < Table.Length
            ? Table[i] + ((t - i) * (Table[i + 1] - Table[i]))
            : Math.Sqrt(2 / (Math.PI * x)) * Math.Cos(x - (Math.PI / 4));
    }
}
