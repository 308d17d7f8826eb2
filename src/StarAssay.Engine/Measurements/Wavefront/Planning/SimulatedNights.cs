using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// Nights in the space of the fitted modes: what pairs would find scatters by photons, by the air and by what is held fixed; what they would
/// state widens where they scatter, by the same rule as a fit of several pairs.
/// </summary>
internal sealed class SimulatedNights
{
    private static readonly (QuantityDefinition Kind, string Family)[] Families =
    [
        (WavefrontQuantities.Spherical, "spherical"), (WavefrontQuantities.Coma, "coma"), (WavefrontQuantities.Astigmatism, "astigmatism"),
    ];

    private readonly PairPlanRequest request;
    private readonly PlannedQuantity[] found;

    public SimulatedNights(PairPlanRequest request)
    {
        this.request = request;
        QuantityDefinition[] kinds = [WavefrontQuantities.Strehl, WavefrontQuantities.Rms, .. Families.Select(f => f.Kind)];
        found = [.. kinds.Select(kind => new PlannedQuantity(kind.Name, kind.Unit, double.NaN, new double[request.MostPairs, request.Nights],
            new double[request.MostPairs, request.Nights]))];
    }

    public IReadOnlyList<PlannedQuantity> Quantities() => found;

    /// <summary>The nights that are like one drawn pair: one in so many.</summary>
    public void Simulate(int draw, FitRun run, FitJudgment judgment, bool doubted)
    {
        int count = run.Fit.ModeCount;
        int[] noll = [.. Enumerable.Range(0, count).Select(j => run.Modes[j].Noll)];
        double wavelength = request.WavelengthNm;
        double[] truth = [.. noll.Select(n => Enumerable.Range(0, request.Noll.Count).Where(k => request.Noll[k] == n).Sum(k => request.CoefficientsNm[k]))];
        Matrix<double> none = Matrix<double>.Build.Dense(count, count);
        Store(-1, 0, judgment.Surface.Power(truth, none, none, default, wavelength), noll, truth, none, none);
        Matrix<double> photons = MapMaker.Root(judgment.Photons);
        Matrix<double> common = MapMaker.Root(judgment.Covariance - judgment.Random);
        double[] air = [.. Enumerable.Range(0, count).Select(j => Math.Sqrt(PairPlanning.AirOfOneImage(request, run.Modes[j].N) / 2))];
        for (int night = draw; night < request.Nights; night += request.Draws)
        {
            var random = new SeededRandom(request.Seed, night, 11);
            Vector<double> shared = Vector<double>.Build.DenseOfArray(truth) + (common * Normals(ref random, count));
            var pairs = new List<double[]>();
            double[] sum = new double[count];
            for (int n = 1; n <= request.MostPairs; n++)
            {
                Vector<double> noise = photons * Normals(ref random, count);
                double[] own = new double[count];
                for (int j = 0; j < count; j++)
                {
                    own[j] = shared[j] + noise[j] + (air[j] * random.NextNormal());
                    sum[j] += own[j];
                }

                pairs.Add(own);
                if (doubted)
                {
                    Store(n - 1, night, (Measured.None("nm"), Measured.None("")), noll, own, none, none);
                    continue;
                }

                double[] mean = [.. sum.Select(s => s / n)];
                Matrix<double> said = judgment.Random / n;
                if (n > 1)
                {
                    double[] seen = [.. Enumerable.Range(0, count).Select(j => PairScatter.SquaredStandardError([.. pairs.Select(p => p[j])]))];
                    said += PairScatter.Excess(said, seen);
                }

                Matrix<double> covariance = said + judgment.Covariance - judgment.Random;
                Matrix<double> ofPhotons = judgment.Photons / n;
                Store(n - 1, night, judgment.Surface.Power(mean, covariance, ofPhotons, judgment.Unseen, wavelength), noll, mean, covariance, ofPhotons);
            }
        }
    }

    // Row -1 is the truth.
    private void Store(int row, int night, (Measured Rms, Measured Strehl) power, int[] noll, double[] c, Matrix<double> covariance, Matrix<double> photons)
    {
        double[] Bars(Matrix<double> part) => [.. part.Diagonal().Select(v => Math.Sqrt(Math.Max(0, v)))];
        IReadOnlyList<AberrationFamily> families = AberrationFamilies.Of(noll, c, Bars(covariance), Bars(photons));
        Measured[] values = [power.Strehl, power.Rms, .. Families.Select(f => families.FirstOrDefault(g => g.Name == f.Family)?.Rms ?? Measured.None("nm"))];
        bool nothing = double.IsNaN(power.Rms.Value);
        for (int q = 0; q < found.Length; q++)
        {
            if (row < 0)
            {
                found[q] = found[q] with { Truth = values[q].Value };
            }
            else
            {
                found[q].Values[row, night] = nothing ? double.NaN : values[q].Value;
                found[q].Uncertainties[row, night] = nothing ? double.NaN : values[q].Uncertainty;
            }
        }
    }

    private static Vector<double> Normals(ref SeededRandom random, int count)
    {
        double[] z = new double[count];
        for (int j = 0; j < count; j++)
        {
            z[j] = random.NextNormal();
        }

        return Vector<double>.Build.DenseOfArray(z);
    }
}
