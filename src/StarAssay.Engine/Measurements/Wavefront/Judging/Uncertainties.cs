using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>The parts of the uncertainty and their sum.</summary>
internal static class Uncertainties
{
    /// <summary>Variance of a Zernike mode of radial order 2 for D/r0 = 1, rad^2 (Noll 1976, full constant).</summary>
    private const double NollOrder2 = 0.0232179;

    /// <summary>
    /// Factor on the covariance for misfit: chi squared, times the number of pixels over which the excess hangs together,
    /// since a wrong model errs by patches and not by pixels.
    /// </summary>
    public static double Inflation(JointFit fit, PairPreparation[] prepared, double chi2)
    {
        if (chi2 <= 1.02)
        {
            return Math.Max(1, chi2);
        }

        double area = 0;
        int images = 0;
        for (int p = 0; p < prepared.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                area += CorrelatedPixels(fit.Residuals[p][k], prepared[p].Data.Window, prepared[p].Stars[k].Diameter / prepared[p].Bin);
                images++;
            }
        }

        // The white part of the residuals has an area of one pixel; what is above it belongs to the excess alone.
        area /= images;
        return chi2 * Math.Max(1, area);
    }

    /// <summary>All parts together, what of them averages out over more pairs, and the budget.</summary>
    public static (Matrix<double> Covariance, Matrix<double> Random, List<WavefrontBudgetLine> Budget) Combine(WavefrontRequest request, PairPreparation[] prepared, FitRun run,
        MapMaker surface, Matrix<double> fromFit, Matrix<double> inverse, double inflation, double wavelengthNm, Team team)
    {
        int count = fromFit.RowCount;
        double[] c = run.Fit.States[0].CoefficientsNm[..count];
        var budget = new List<WavefrontBudgetLine>
        {
            Line("photons, read noise and misfit", "A", $"images; factor {Math.Sqrt(inflation):F2} for misfit", fromFit, surface, c, wavelengthNm),
        };
        Matrix<double> total = fromFit.Clone();
        Matrix<double> air = Turbulence(request, run, count, wavelengthNm);
        if (air.Trace() > 0)
        {
            total += air;
            budget.Add(Line("turbulence left in a finite exposure", "B",
                $"exposures of {request.Frames.Min(f => f.ExposureS):G3} s or longer, air moving at {request.KnownTo.WindMs:G2} m/s", air, surface, c, wavelengthNm) with { Averages = true });
        }

        foreach ((string source, string input, Func<PairOptics, PairOptics> change) in Fixed(request))
        {
            PairModel[] others = [.. run.Models.Select((m, p) => new PairModel(change(m.Optics), run.Modes,
                run.Fit.States[p].DefocusNm.Max(Math.Abs), team))];
            double[] shift = [.. run.Fit.Derivatives.Response(others, inverse).Take(count)];
            foreach (PairModel other in others)
            {
                other.Dispose();
            }

            Vector<double> v = Vector<double>.Build.DenseOfArray(shift);
            Matrix<double> part = v.ToColumnMatrix() * v.ToRowMatrix();
            total += part;
            budget.Add(Line(source, "B", input, part, surface, c, wavelengthNm));
        }

        budget.Add(new WavefrontBudgetLine(double.NaN)
        {
            Source = "tube not cooled",
            Input = "not in the numbers; repeat when the tube has reached the air's temperature",
        });
        return (total, fromFit + air, budget);
    }

    /// <summary>Widens the covariance when the pairs differ by more than it says.</summary>
    public static Matrix<double> WidenToScatter(PairAlone[] alone, Matrix<double> covariance, MapMaker surface, int modes, List<WavefrontBudgetLine> budget, List<Note> notes)
    {
        int n = alone.Length;
        if (n < 2)
        {
            return covariance;
        }

        double[] mean = [.. Enumerable.Range(0, modes).Select(j => alone.Average(a => a.CoefficientNm[j]))];
        double seen = alone.Sum(a => Math.Pow(surface.Rms([.. a.CoefficientNm.Select((v, j) => v - mean[j])]), 2)) / (n - 1) / n;
        double said = (surface.GramMatrix * covariance).Trace();
        budget.Add(new WavefrontBudgetLine(Math.Sqrt(seen)) { Source = "scatter of the pairs (for comparison)", Kind = "A", Averages = true, Input = $"{n} pairs" });
        if (seen <= said)
        {
            return covariance;
        }

        if (seen > 2 * said)
        {
            notes.Add(WavefrontNotes.PairsScatter.Say(
                $"The mean of {n} pairs scatters by {Math.Sqrt(seen):F2} nm RMS, {Math.Sqrt(said):F2} nm were expected; the bars have been widened."));
        }

        return covariance * (seen / said);
    }

    // Temporal spectra of Zernike modes are flat up to about 0.3 (n + 1) v/D and fall steeply beyond (Conan, Rousset & Madec
    // 1995, J. Opt. Soc. Am. A 12; from memory), so an exposure T holds 0.6 (n + 1) v T/D independent values.
    private static Matrix<double> Turbulence(WavefrontRequest request, FitRun run, int count, double wavelengthNm)
    {
        double[] variance = new double[count];
        int images = request.Frames.Count;
        for (int i = 0; i < images; i++)
        {
            double exposure = request.Frames[i].ExposureS;
            double strength = run.Fit.States[i / 2].Seeing[i % 2];
            if (!(exposure > 0) || !(strength > 0))
            {
                continue;
            }

            for (int j = 0; j < count; j++)
            {
                int n = run.Modes[j].N;
                double independent = Math.Max(1, 0.6 * (n + 1) * request.KnownTo.WindMs * exposure / (request.ApertureMm * 1e-3));
                variance[j] += OrderVariance(n) * strength * Math.Pow(wavelengthNm / (2 * Math.PI), 2) / independent / ((double)images * images);
            }
        }

        return Matrix<double>.Build.DenseOfDiagonalArray(variance);
    }

    /// <summary>Kolmogorov variance of one mode of radial order n for D/r0 = 1, rad^2 (Noll 1976).</summary>
    internal static double OrderVariance(int n)
    {
        double v = NollOrder2;
        for (int k = 2; k < n; k++)
        {
            v *= (k + 2.0) / (k + 1.0) * (k - (5.0 / 6.0)) / (k + (23.0 / 6.0));
        }

        return v;
    }

    private static IEnumerable<(string Source, string Input, Func<PairOptics, PairOptics> Change)> Fixed(WavefrontRequest request)
    {
        KnownTo known = request.KnownTo;
        if (known.Scale > 0)
        {
            yield return ("image scale (focal length, aperture, pitch)", $"{100 * known.Scale:G2} %", o => o with { PitchUm = o.PitchUm * (1 + known.Scale) });
        }

        if (known.Wavelength > 0)
        {
            yield return ("wavelength", $"{100 * known.Wavelength:G2} %", o => o with { WavelengthsNm = [.. o.WavelengthsNm.Select(l => l * (1 + known.Wavelength))] });
        }

        if (known.Obstruction > 0 && request.Pupil.Obstruction > 0)
        {
            yield return ("central obstruction", $"{100 * known.Obstruction:G2} % of the ratio",
                o => o with { Shape = o.Shape with { Obstruction = Math.Min(0.94, o.Shape.Obstruction * (1 + known.Obstruction)) } });
        }
    }

    internal static WavefrontBudgetLine Line(string source, string kind, string input, Matrix<double> part, MapMaker surface, double[] c, double wavelengthNm)
    {
        double map = Math.Sqrt(Math.Max(0, (surface.GramMatrix * part).Trace()));
        double rms = 0;
        double strehl = 0;
        MathNet.Numerics.LinearAlgebra.Factorization.Evd<double> evd = part.Evd(Symmetricity.Symmetric);
        for (int d = 0; d < part.RowCount; d++)
        {
            double size = Math.Sqrt(Math.Max(0, evd.EigenValues[d].Real));
            if (size > 0)
            {
                double[] change = [.. evd.EigenVectors.Column(d).Select(v => v * size)];
                rms += Math.Pow(surface.RmsChange(c, change), 2);
                strehl += Math.Pow(surface.StrehlChange(c, change, wavelengthNm), 2);
            }
        }

        return new WavefrontBudgetLine(map, Math.Sqrt(rms), Math.Sqrt(strehl)) { Source = source, Kind = kind, Averages = kind == "A", Input = input };
    }

    // Sum of the residuals' autocorrelation over lags to a sixth of the disc: rings and patches of a wrong model are as wide.
    private static double CorrelatedPixels(float[] r, int w, double disc)
    {
        int lag = Math.Clamp((int)Math.Round(disc / 6), 4, Math.Min(16, (w / 2) - 1));
        double zero = Gram.Dot(r, r);
        if (zero <= 0)
        {
            return 1;
        }

        double sum = 0;
        for (int dy = -lag; dy <= lag; dy++)
        {
            for (int dx = -lag; dx <= lag; dx++)
            {
                for (int y = lag; y < w - lag; y++)
                {
                    int at = (y * w) + lag;
                    sum += Gram.Dot(r.AsSpan(at, w - (2 * lag)), r.AsSpan(at + (dy * w) + dx, w - (2 * lag)));
                }
            }
        }

        return sum / zero;
    }
}
