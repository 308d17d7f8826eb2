using MathNet.Numerics.LinearAlgebra;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>The inverse Hessian that one descent leaves to the next: between them a few pixels are masked or weights follow the model, and the
/// matrix stays good to a few per cent.</summary>
internal sealed class WarmHessian
{
    private Matrix<double>? inverse;
    private FitUnknowns unknowns;

    /// <summary>The matrix for some unknowns; null when the one kept is of others.</summary>
    public Matrix<double>? For(FitUnknowns wanted) => unknowns == wanted ? inverse : null;

    /// <summary>Keeps one; null forgets.</summary>
    public void Keep(Matrix<double>? matrix, FitUnknowns of) => (inverse, unknowns) = (matrix, of);
}
