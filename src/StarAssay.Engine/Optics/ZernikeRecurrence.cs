namespace StarAssay.Engine.Optics;

/// <summary>How radial parts of one frequency follow from each other, in units of the first: q[k+1] = (slope[k] u + shift[k]) q[k] - back[k] q[k-1],
/// q[0] = 1, u = rho^2.</summary>
/// <param name="First">Value of the first one over rho^m, with the angle's factor: what all are multiplied by.</param>
/// <param name="Slope">Factors of u.</param>
/// <param name="Shift">What is added to it.</param>
/// <param name="Back">Factors of the last but one.</param>
internal sealed record ZernikeRecurrence(float First, float[] Slope, float[] Shift, float[] Back);
