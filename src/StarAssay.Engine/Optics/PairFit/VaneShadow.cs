namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Draws vanes on a pupil grid whose samples also carry a path.</summary>
/// <remarks>
/// Vanes are as thin as a sample or two. The share of each sample's square that one covers has the right area, but its place within the square is
/// lost, and with it the path there: on a bright pair (5e7 electrons, vanes of 0.8 % of the aperture) that alone makes chi squared 1.16, and 2.3 where
/// vanes lie along the grid. What the image sees of a vane are frequencies, relative to the rays that pass beside it, up to a third of a cycle a sample.
/// So the vane is not averaged over squares but smoothed by a kernel that leaves these as they are and takes away those that sampling would fold onto
/// them: a sinc under a Gaussian. Its samples may be a little below 0 or above 1.
/// </remarks>
internal static class VaneShadow
{
    // Standard deviation of the Gaussian and reach of the kernel, samples; entries of the table a sample.
    private const double Width = 3;
    private const int Reach = 9;
    private const int Fineness = 64;

    private static readonly double[] Step = Table();

    /// <summary>Takes the vanes' light out of an open pupil.</summary>
    /// <param name="vanes">Vanes from the pupil's centre to the edge.</param>
    /// <param name="size">Samples along each axis; the pupil's centre lies on sample size/2.</param>
    /// <param name="samplesAcross">Samples that the pupil's diameter spans.</param>
    /// <param name="open">Share of each sample that is open; rows along x.</param>
    public static void TakeOut(IReadOnlyList<Vane> vanes, int size, double samplesAcross, Span<double> open)
    {
        double radius = samplesAcross / 2;
        foreach (Vane vane in vanes)
        {
            Stripe stripe = vane.Stripe;
            double half = stripe.HalfWidth * radius;
            for (int j = 0; j < size; j++)
            {
                double y = j - (size / 2);
                for (int i = 0; i < size; i++)
                {
                    double x = i - (size / 2);
                    double along = (x * stripe.Cos) + (y * stripe.Sin), across = (y * stripe.Cos) - (x * stripe.Sin);
                    if (along > -Reach && Math.Abs(across) < half + Reach)
                    {
                        open[(j * size) + i] *= 1 - (Smoothed(along) * (Smoothed(across + half) - Smoothed(across - half)));
                    }
                }
            }
        }
    }

    /// <summary>A step from 0 to 1 under the kernel, at a distance in samples from where it rises.</summary>
    internal static double Smoothed(double distance)
    {
        double at = (distance + Reach) * Fineness;
        if (!(at > 0 && at < Step.Length - 1))
        {
            return distance > 0 ? 1 : 0;
        }

        int below = (int)at;
        return Step[below] + ((at - below) * (Step[below + 1] - Step[below]));
    }

    // The kernel's integral, by the trapezoid rule on the table's own steps; its whole is 1.
    private static double[] Table()
    {
        double[] sum = new double[(2 * Reach * Fineness) + 1];
        for (int k = 1; k < sum.Length; k++)
        {
            sum[k] = sum[k - 1] + Kernel(k - 1) + Kernel(k);
        }

        double whole = sum[^1];
        return [.. sum.Select(s => s / whole)];
    }

    private static double Kernel(int entry)
    {
        double t = ((double)entry / Fineness) - Reach;
        return (t == 0 ? 1 : Math.Sin(Math.PI * t) / (Math.PI * t)) * Math.Exp(-0.5 * (t / Width) * (t / Width));
    }
}
