namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>How a block's defocus, log seeing or blur variance depends on the shared unknowns: sum of coefficient x unknown + constant.</summary>
internal sealed record LinearMap(int[] Index, double[] Coefficient, double Constant)
{
    public double At(double[] x)
    {
        double s = Constant;
        for (int i = 0; i < Index.Length; i++)
        {
            s += Coefficient[i] * x[Index[i]];
        }

        return s;
    }
}
