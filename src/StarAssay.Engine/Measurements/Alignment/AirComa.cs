using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
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
        int all = fit.Fit.Unknowns.Count + DiscFit.OfObstruction;
        if (cutout.Count == 1)
        {
            // Nothing tells it from the telescope's.
            return Matrix<double>.Build.DenseDiagonal(all, all, i => Coma.Contains(i + 5) && i < fit.Fit.ModeCount ? Variance(request, fit, i + 5, 0) : 0);
        }

        Matrix<double> answer = Answer(fit);
        double[] variance = [.. Coma.SelectMany(noll => new[] { Variance(request, fit, noll, 0), Variance(request, fit, noll, 1) })];
        return answer * Matrix<double>.Build.DenseOfDiagonalArray(variance) * answer.Transpose();
    }

    /// <summary>By how much the unknowns and the obstruction follow a nanometre of each mode of coma in the first and in the second image.</summary>
    private static Matrix<double> Answer(DiscFit fit)
    {
        var beside = new BesideChanges();
        fit.AddObstruction(beside);
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
        Matrix<double> along = equations.SubMatrix(0, known, known, 2 * Coma.Length) / Step;
        var answer = Matrix<double>.Build.Dense(own + DiscFit.OfObstruction, 2 * Coma.Length);
        if (PositiveDefinite.Inverse(equations.SubMatrix(0, known, 0, known)) is { } inverse)
        {
            answer.SetSubMatrix(0, 0, inverse * along);
        }

        // The obstruction was moved by steps.
        return Matrix<double>.Build.Dense(answer.RowCount, answer.ColumnCount, (i, j) => answer[i, j] * (i < own ? 1 : DiscFit.Step));
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
