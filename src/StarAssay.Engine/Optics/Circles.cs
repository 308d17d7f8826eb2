namespace StarAssay.Engine.Optics;

/// <summary>Plane geometry of circles: what apertures, shadows and stops come down to.</summary>
public static class Circles
{
    /// <summary>Area common to two circles.</summary>
    /// <param name="a">Radius of the first.</param>
    /// <param name="b">Radius of the second.</param>
    /// <param name="distance">Distance of the centres, at least 0.</param>
    public static double Overlap(double a, double b, double distance)
    {
        if (a <= 0 || b <= 0 || distance >= a + b)
        {
            return 0;
        }

        double small = Math.Min(a, b);
        if (distance <= Math.Abs(a - b))
        {
            return Math.PI * small * small;
        }

        double cosA = ((distance * distance) + (a * a) - (b * b)) / (2 * distance * a);
        double cosB = ((distance * distance) + (b * b) - (a * a)) / (2 * distance * b);
        double angleA = Math.Acos(Math.Clamp(cosA, -1, 1));
        double angleB = Math.Acos(Math.Clamp(cosB, -1, 1));

        // Segment = sector - triangle, for each circle.
        return (a * a * (angleA - (Math.Sin(2 * angleA) / 2))) + (b * b * (angleB - (Math.Sin(2 * angleB) / 2)));
    }
}
