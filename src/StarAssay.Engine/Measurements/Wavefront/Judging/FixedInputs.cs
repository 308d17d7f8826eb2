using MathNet.Numerics.LinearAlgebra;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// Parts of the uncertainty from what is stated and held fixed in the fit: scale, wavelength, band, obstruction, vanes, the camera's straight line.
/// Each is known to a standard uncertainty, and the images know something of it too.
/// </summary>
/// <remarks>
/// The fit follows what the images say of scale, wavelength and obstruction only where they insist, and of the others not at all, since much that
/// does not fit looks like one of them. The part is therefore the second moment about the model's value of what statement and images together leave:
/// their variance, and the square of how far both would move it. Without the images' word, a direction of fine modes that hardly changes them would
/// get a bar that they exclude.
/// </remarks>
internal static class FixedInputs
{
    /// <summary>Adds a line for each, and what they share to the sum.</summary>
    public static void Add(UncertaintyParts parts, NuisanceFit beside)
    {
        HeldInputs held = beside.Fixed;
        int count = held.Inputs.All.Count;
        if (count == 0)
        {
            return;
        }

        Matrix<double> left = HeldInputs.Left(held.Information / beside.Inflation, held.Side / beside.Inflation, held.Stated);
        var own = Vector<double>.Build.DenseOfArray(parts.Coefficients);
        Matrix<double> modes = held.Answers.SubMatrix(0, own.Count, 0, count);
        Matrix<double> together = Matrix<double>.Build.Dense(own.Count, own.Count);
        for (int i = 0; i < count; i++)
        {
            if (held.Inputs.All[i].Wavelength)
            {
                modes.SetColumn(i, modes.Column(i) - (held.Inputs.Wavelength * own));
            }
        }

        for (int i = 0; i < count; i++)
        {
            Vector<double> v = modes.Column(i);
            Matrix<double> part = v.ToColumnMatrix() * v.ToRowMatrix() * left[i, i];
            parts.AddCommon(held.Inputs.All[i].Source, "B",
                $"{held.Inputs.All[i].Input}, of which the images leave {100 * Math.Sqrt(left[i, i]):F0} %", part);
            together -= part;
        }

        parts.AddShared(together + (modes * left * modes.Transpose()));
    }
}
