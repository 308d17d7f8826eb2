using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// What the images say of the inputs that a fit holds fixed, and how its unknowns answer to them. Each is in units of the standard uncertainty of what
/// is stated, from the model's value.
/// </summary>
/// <param name="Inputs">The inputs.</param>
/// <param name="Information">Inverse covariance by the images alone, all else following, before misfit is counted.</param>
/// <param name="Side">That times where the images see them.</param>
/// <param name="Answers">How the unknowns move by one unit of each, in the unit of each unknown; a row an unknown.</param>
internal sealed record HeldInputs(StatedInputs Inputs, Matrix<double> Information, Vector<double> Side, Matrix<double> Answers)
{
    // Information, in units of what is stated, that is none.
    private const double Nothing = 1e-6;

    /// <summary>Where the statements stand, from the model's values.</summary>
    public Vector<double> Stated => Vector<double>.Build.Dense(Inputs.All.Count, i => -Inputs.All[i].Moved);

    /// <summary>Takes them from normal equations whose last rows are the drawn changes.</summary>
    /// <param name="inputs">The inputs.</param>
    /// <param name="whole">Inverse of the other rows' part, with what is usual of the nuisance parameters.</param>
    /// <param name="equations">J^T W J of all.</param>
    /// <param name="sides">J^T W (data - model) of all.</param>
    /// <param name="gradient">The other rows' part of it, with what is usual.</param>
    public static HeldInputs From(StatedInputs inputs, Matrix<double> whole, Matrix<double> equations, Vector<double> sides, Vector<double> gradient)
    {
        int own = gradient.Count, drawn = inputs.Changes.Count, count = inputs.All.Count;
        if (count == 0)
        {
            return new HeldInputs(inputs, Matrix<double>.Build.Dense(0, 0), Vector<double>.Build.Dense(0), Matrix<double>.Build.Dense(own, 0));
        }

        (Matrix<double> normal, Vector<double> side, Matrix<double> followed) = BesideChanges.Eliminated(whole, equations, sides, gradient);
        Matrix<double> steps = Matrix<double>.Build.Dense(drawn, count, (d, i) => inputs.All[i].Change == d ? inputs.All[i].InSteps : 0);
        return new HeldInputs(inputs, steps.Transpose() * normal * steps, steps.Transpose() * side, followed * steps);
    }

    /// <summary>
    /// Second moments about the model's values, after statements and images have spoken.
    /// </summary>
    /// <param name="information">What the images say: the inverse of their covariance.</param>
    /// <param name="side">That times where they see the values, from the model's.</param>
    /// <param name="stated">The stated values, from the model's.</param>
    public static Matrix<double> Left(Matrix<double> information, Vector<double> side, Vector<double> stated)
    {
        (Matrix<double> covariance, Vector<double> mean) = Both(information, side, stated);
        return (covariance * Disagreement(information, side, stated)) + (mean.ToColumnMatrix() * mean.ToRowMatrix());
    }

    /// <summary>
    /// By how much statements and images differ from each other beyond their uncertainties: chi squared a degree of freedom, at least 1 (Birge 1932,
    /// Phys. Rev. 40, 207, from memory). Beyond 1, what does not fit stands in for an input, and both know less than they say.
    /// </summary>
    public static double Disagreement(Matrix<double> information, Vector<double> side, Vector<double> stated)
    {
        var own = information.Evd(Symmetricity.Symmetric);
        Vector<double> seen = own.EigenVectors.Transpose() * side, said = own.EigenVectors.Transpose() * stated;
        (double sum, double freedom) = (0, 0);
        for (int i = 0; i < side.Count; i++)
        {
            double known = own.EigenValues[i].Real;
            if (known > Nothing)
            {
                double share = known / (1 + known);
                sum += Math.Pow((seen[i] / known) - said[i], 2) * share;
                freedom += share;
            }
        }

        return freedom > 0 ? Math.Max(1, sum / Math.Max(1, freedom)) : 1;
    }

    /// <summary>The normal distribution that statements and images leave together: covariance and mean.</summary>
    public static (Matrix<double> Covariance, Vector<double> Mean) Both(Matrix<double> information, Vector<double> side, Vector<double> stated)
    {
        Matrix<double> covariance = (information + Matrix<double>.Build.DenseIdentity(side.Count)).Inverse();
        return (covariance, covariance * (side + stated));
    }
}
