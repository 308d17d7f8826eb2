using System.Numerics;
using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>How lopsided stars are: the third moment that turns once with the star, under a round Gaussian weight.</summary>
/// <remarks>
/// The sum of I w (z - c) |z - c|^2 over that of I w, z = x + i y, with c the center under the same weight, over the cube of the
/// half-flux radius. Defocus, astigmatism, trailing and seeing are even and leave it at zero; coma is odd and points its tail.
/// </remarks>
internal static class Lopsidedness
{
    // The weight's width over that of a Gaussian of the star's half-flux radius: tails count, the sky's noise does not yet rule.
    private const double Widening = 1.3;

    private const double HfrPerSigma = 1.1774;
    private const int Rounds = 6;

    /// <summary>Measures one star; NaN where pixels are missing.</summary>
    /// <param name="reader">The frame.</param>
    /// <param name="x">Column.</param>
    /// <param name="y">Row.</param>
    /// <param name="hfr">Half-flux radius, pixels.</param>
    /// <param name="sky">Level of the sky, ADU.</param>
    public static Complex Of(FrameReader reader, double x, double y, double hfr, double sky)
    {
        double sigma = Math.Max(Widening * hfr / HfrPerSigma, 0.8);
        int half = (int)Math.Ceiling(3 * sigma), side = (2 * half) + 1, x0 = (int)Math.Round(x) - half, y0 = (int)Math.Round(y) - half;
        double[] pixels = reader.Region(x0, y0, side, side);
        Complex center = new(x - x0, y - y0), third = Complex.Zero;
        for (int round = 0; round <= Rounds; round++)
        {
            (double sum, Complex first) = (0, Complex.Zero);
            third = Complex.Zero;
            for (int k = 0; k < pixels.Length; k++)
            {
                if (!double.IsFinite(pixels[k]))
                {
                    return new Complex(double.NaN, double.NaN);
                }

                Complex d = new Complex(k % side, k / side) - center;
                double r2 = (d.Real * d.Real) + (d.Imaginary * d.Imaginary);
                double light = (pixels[k] - sky) * Math.Exp(-r2 / (2 * sigma * sigma));
                sum += light;
                first += light * d;
                third += light * r2 * d;
            }

            if (!(sum > 0))
            {
                return new Complex(double.NaN, double.NaN);
            }

            third /= sum * hfr * hfr * hfr;
            Complex step = first / sum;

            // A weight of about the star's own size pulls the center half-way back.
            center += 1.6 * Complex.Multiply(step, Math.Min(1, 1 / Math.Max(1e-9, step.Magnitude)));
        }

        return third;
    }
}
