using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>The parts of the uncertainty and their sum.</summary>
internal static class Uncertainties
{
    /// <summary>Chi squared up to which there is no misfit.</summary>
    public const double NoMisfit = 1.02;

    /// <summary>
    /// Factor on the covariance for misfit: chi squared, times the number of pixels over which the excess hangs together,
    /// since a wrong model errs by patches and not by pixels.
    /// </summary>
    public static double Inflation(JointFit fit, PairPreparation[] prepared, double chi2)
    {
        if (chi2 <= NoMisfit)
        {
            return Math.Max(1, chi2);
        }

        double area = 0;
        int images = 0;
        for (int p = 0; p < prepared.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                area += ResidualPatches.Pixels(fit.Residuals[p][k], prepared[p].Data.Window, prepared[p].Stars[k].Diameter / prepared[p].Bin);
                images++;
            }
        }

        // The white part of the residuals has an area of one pixel; what is above it belongs to the excess alone.
        area /= images;
        return chi2 * Math.Max(1, area);
    }

    /// <summary>An exposure that nobody knows counts as one so short that knowing it makes the bar smaller.</summary>
    public const double UnknownExposureS = 1;

    /// <summary>The exposure as the bars take it.</summary>
    public static double ExposureS(Imaging.Frame frame) => frame.ExposureS > 0 ? frame.ExposureS : UnknownExposureS;

    /// <summary>All parts that one pair can tell of.</summary>
    public static void Combine(UncertaintyParts parts, WavefrontRequest request, FitRun run, NuisanceFit beside, Matrix<double> fromFit)
    {
        int count = fromFit.RowCount;
        parts.AddRandom("photons, read noise and misfit", "A", $"images; factor {Math.Sqrt(beside.Inflation):F2} for misfit", fromFit);
        Matrix<double> air = Turbulence(request, run, count, parts.WavelengthNm);
        if (air.Trace() > 0)
        {
            parts.AddRandom("turbulence left in a finite exposure", "B",
                $"exposures of {request.Frames.Min(ExposureS):G3} s or " +
                    $"longer{(request.Frames.All(f => f.ExposureS > 0) ? string.Empty : " (taken as that where not known)")}, air moving at " +
                    $"{request.KnownTo.WindMs:G2} m/s", air);
        }

        FixedInputs.Add(parts, beside);
        Beside(parts, request, beside);
    }

    private static void Beside(UncertaintyParts parts, WavefrontRequest request, NuisanceFit beside)
    {
        KnownTo known = request.KnownTo;
        if (known.Response > 0)
        {
            parts.AddCommon("evenness of the response across the star", "B",
                $"{100 * known.Response:G2} % from edge to edge, of which the images leave {100 * beside.Left(Nuisance.Response):G2} % open",
                beside.Open(Nuisance.Response));
        }

        if (known.TrailArcsec > 0)
        {
            parts.AddRandom("trails, and dispersion of the air in the band", "B", $"{known.TrailArcsec:G2} arcsec RMS, fitted to each image",
                beside.Open(Nuisance.Trail));
        }

        if (beside.Kinds.Contains(Nuisance.Shadow))
        {
            parts.AddCommon("place of the central obstruction", "B",
                $"{100 * known.ShadowPlace:G2} % of the aperture's radius, of which the images leave {100 * beside.Left(Nuisance.Shadow):G2} % open",
                beside.Open(Nuisance.Shadow));
        }

        Matrix<double> alone = beside.Kinds.Distinct().Select(beside.Open).Aggregate((a, b) => a + b);
        parts.AddShared(beside.OpenTogether() - alone);
    }

    private static Matrix<double> Turbulence(WavefrontRequest request, FitRun run, int count, double wavelengthNm)
    {
        double[] variance = new double[count];
        int images = request.Frames.Count;
        for (int i = 0; i < images; i++)
        {
            double exposure = ExposureS(request.Frames[i]);
            double strength = run.Fit.States[i / 2].Seeing[i % 2];
            if (!(strength > 0))
            {
                continue;
            }

            double apertures = request.KnownTo.WindMs * exposure / (request.ApertureMm * 1e-3);
            for (int j = 0; j < count; j++)
            {
                variance[j] += AirVariance.Mean(run.Modes[j].N, apertures) * strength * Math.Pow(wavelengthNm / (2 * Math.PI), 2) / ((double)images * images);
            }
        }

        return Matrix<double>.Build.DenseOfDiagonalArray(variance);
    }
}
