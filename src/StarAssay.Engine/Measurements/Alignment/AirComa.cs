using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Measurements.Alignment;

/// <summary>Turbulence left in the exposures: coma of each image by itself.</summary>
/// <remarks>
/// Two images share their coma by halves, and their difference passes for an obstruction out of the middle as far as its shadow goes; that the
/// rings then are brighter on one side speaks against it. What the fit makes of coma in one image alone is its linear answer to it.
/// </remarks>
internal static class AirComa
{
    // Step of a coefficient by which the images of coma are made, nm.
    private const double Step = 1;

    // Orders 3 and 5.
    private static readonly int[] Coma = [7, 8, 16, 17];

    /// <summary>What it adds to the covariance of the fit's unknowns and of the obstruction's x, y and size.</summary>
    public static Matrix<double> Of(AlignmentRequest request, DiscCutout cutout, DiscFit fit)
    {
        if (cutout.Count == 1)
        {
            // Nothing tells it from the telescope's.
            int all = fit.Joint.RowCount;
            double Own(int row) => Coma.FirstOrDefault(noll => DiscCircles.At(noll) == row) is var noll and > 0 ? Variance(request, fit, noll, 0) : 0;
            return Matrix<double>.Build.DenseDiagonal(all, all, Own);
        }

        Matrix<double> answer = Answer(fit);
        double[] variance = [.. Coma.SelectMany(noll => new[] { Variance(request, fit, noll, 0), Variance(request, fit, noll, 1) })];
        return answer * Matrix<double>.Build.DenseOfDiagonalArray(variance) * answer.Transpose();
    }

    /// <summary>By how much the unknowns and the obstruction follow a nanometre of each mode of coma in the first and in the second image.</summary>
    private static Matrix<double> Answer(DiscFit fit)
    {
        BesideChanges beside = fit.Obstruction();
        int own = fit.Fit.Unknowns.Count, known = own + beside.Count;
        float[][] present = Images(fit, fit.State);
        foreach (int noll in Coma)
        {
            PairState other = fit.State.Copy();
            other.CoefficientsNm[DiscCircles.At(noll)] += Step;
            float[][] changed = Images(fit, other);
            for (int k = 0; k < 2; k++)
            {
                float[][] only = [new float[present[0].Length], new float[present[1].Length]];
                only[k] = [.. changed[k].Zip(present[k], (a, b) => a - b)];
                beside.Add([only]);
            }
        }

        fit.Fit.Refresh();
        Matrix<double> equations = fit.Fit.Derivatives.NormalMatrix(null, beside);

        // The obstruction was moved by steps, coma by nanometres. Without an obstruction its rows stay zero.
        var along = Matrix<double>.Build.Dense(fit.Joint.RowCount, 2 * Coma.Length, (i, j) => i < known
            ? equations[i, known + j] / (i < own ? Step : Step * DiscFit.Step) : 0);
        return fit.Joint * along;
    }

    private static float[][] Images(DiscFit fit, PairState state)
    {
        PairModel model = fit.Model();
        model.Evaluate(state);
        return [.. Enumerable.Range(0, 2).Select(k =>
        {
            float[] image = model.Pixels.Part(k).ToArray();
            return image.Select(v => v * (float)state.Flux[k]).ToArray();
        })];
    }

    private static double Variance(AlignmentRequest request, DiscFit fit, int noll, int k)
    {
        double exposure = request.Frames[k].ExposureS > 0 ? request.Frames[k].ExposureS : 1;
        double apertures = request.WindMPerS * exposure / (request.ApertureMm * 1e-3);
        return AirVariance.Mean(noll < 10 ? 3 : 5, apertures) * fit.State.Seeing[k] * Math.Pow(fit.Optics.MeanWavelengthNm / (2 * Math.PI), 2);
    }
}
