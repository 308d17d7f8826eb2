using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// The parts of the uncertainty as they come together: random ones, which differ from pair to pair and which several pairs average, and common
/// ones, which every pair shares.
/// </summary>
/// <param name="Surface">The map's geometry.</param>
/// <param name="Coefficients">Fitted coefficients, nm.</param>
/// <param name="WavelengthNm">For the Strehl ratio.</param>
internal sealed record UncertaintyParts(MapMaker Surface, double[] Coefficients, double WavelengthNm)
{
    /// <summary>Covariance of what differs from pair to pair, for the mean of all pairs, nm^2.</summary>
    public Matrix<double> Random { get; private set; } = Matrix<double>.Build.Dense(Coefficients.Length, Coefficients.Length);

    /// <summary>Covariance of what all pairs share, nm^2.</summary>
    public Matrix<double> Common { get; private set; } = Matrix<double>.Build.Dense(Coefficients.Length, Coefficients.Length);

    /// <summary>Both in quadrature.</summary>
    public Matrix<double> Covariance => Random + Common;

    /// <summary>The budget's lines.</summary>
    public List<WavefrontBudgetLine> Budget { get; } = [];

    /// <summary>Adds a part that differs from pair to pair.</summary>
    public void AddRandom(string source, string kind, string input, Matrix<double> part)
    {
        Random += part;
        Budget.Add(Line(source, kind, input, part) with { Averages = true });
    }

    /// <summary>Adds a part that all pairs share.</summary>
    public void AddCommon(string source, string kind, string input, Matrix<double> part)
    {
        Common += part;
        Budget.Add(Line(source, kind, input, part));
    }

    /// <summary>Adds what parts added before have in common: it belongs to the sum and to none of the lines.</summary>
    public void AddShared(Matrix<double> part) => Common += part;

    /// <summary>Names what is in no number.</summary>
    public void NameTheRest(WavefrontRequest request)
    {
        string tube = request.KnownTo.TubeExcessK > 0 ? $"{request.KnownTo.TubeExcessK:G2} K above the air; " : string.Empty;
        foreach ((string source, string input) in new[]
        {
            ("tube not cooled", tube + "not in the numbers; repeat when the tube has reached the air's temperature"),
            ("response from pixel to pixel", "not a line of its own; it raises chi squared, and the bars with it"),
            ("tilt of the sensor", "not in the numbers; a degree moves the Strehl ratio of a bright pair by less than a third of its bar"),
        })
        {
            Budget.Add(new WavefrontBudgetLine(double.NaN) { Source = source, Input = input });
        }
    }

    private WavefrontBudgetLine Line(string source, string kind, string input, Matrix<double> part)
    {
        double map = Math.Sqrt(Math.Max(0, (Surface.GramMatrix * part).Trace()));
        return new WavefrontBudgetLine(map, Math.Sqrt(Math.Max(0, Of(Surface.RmsGradient(Coefficients), part))),
            Math.Sqrt(Math.Max(0, Of(Surface.StrehlGradient(Coefficients, WavelengthNm), part))))
        { Source = source, Kind = kind, Input = input };
    }

    private static double Of(Vector<double> gradient, Matrix<double> part) => gradient * (part * gradient);
}
