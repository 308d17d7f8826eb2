using System.Numerics;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>The circle about the middle within which the blur stays under a limit.</summary>
internal static class SharpCircle
{
    private const int Steps = 100, Around = 48;

    /// <summary>Its radius over half the diagonal; 1 where the limit is nowhere passed.</summary>
    /// <param name="size">The blur at a place, z from the middle over half the diagonal.</param>
    /// <param name="limit">What it must not exceed.</param>
    /// <param name="reachU">Half the width over half the diagonal.</param>
    /// <param name="reachV">Half the height.</param>
    public static double Radius(Func<Complex, double> size, double limit, double reachU, double reachV)
    {
        double last = size(Complex.Zero);
        if (last > limit)
        {
            return 0;
        }

        for (int k = 1; k <= Steps; k++)
        {
            double r = (double)k / Steps, most = double.NegativeInfinity;
            for (int j = 0; j < Around; j++)
            {
                Complex z = Complex.FromPolarCoordinates(r, 2 * Math.PI * j / Around);
                if (Math.Abs(z.Real) <= reachU && Math.Abs(z.Imaginary) <= reachV)
                {
                    most = Math.Max(most, size(z));
                }
            }

            // Corners stand between the directions looked along.
            if (r >= reachU || r >= reachV)
            {
                foreach (Complex z in OnRim(r, reachU, reachV))
                {
                    most = Math.Max(most, size(z));
                }
            }

            if (most > limit)
            {
                return (k - 1 + ((limit - last) / Math.Max(most - last, 1e-12))) / Steps;
            }

            last = double.IsFinite(most) ? most : last;
        }

        return 1;
    }

    /// <summary>Where the circle leaves the sensor.</summary>
    private static IEnumerable<Complex> OnRim(double r, double reachU, double reachV)
    {
        foreach ((double a, double b) in new[] { (1.0, 1.0), (1, -1), (-1, 1), (-1, -1) })
        {
            double v = Math.Sqrt(Math.Max(0, (r * r) - (reachU * reachU))), u = Math.Sqrt(Math.Max(0, (r * r) - (reachV * reachV)));
            if (r >= reachU && v <= reachV + 1e-9)
            {
                yield return new Complex(a * reachU, b * v);
            }

            if (r >= reachV && u <= reachU + 1e-9)
            {
                yield return new Complex(a * u, b * reachV);
            }
        }
    }
}
