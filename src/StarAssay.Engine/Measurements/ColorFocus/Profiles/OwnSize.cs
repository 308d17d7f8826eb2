namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>The size of one color's defocus from its own profile, seeing and blur being known.</summary>
internal static class OwnSize
{
    /// <summary>Size and standard uncertainty, um.</summary>
    public static (double Size, double Error) Find(ProfileBlock block, double start, double seeing, double blur, double scale, double focalRatio, double nm,
        ProfileModel.Work work)
    {
        // In q = z^2 the profile is regular at focus, so steps and errors are taken there.
        double unit = 0.3 * 8 * focalRatio * focalRatio * nm / 1000;
        double z = start;
        double h = 0;
        for (int turn = 0; turn < 8; turn++)
        {
            double at = Math.Max(z, 0.2 * unit);
            block.Propose(0, 0, 0);
            block.Evaluate(at, seeing, blur, work);
            block.Accept();
            block.Linearize();
            double slope = 1 / (2 * at);
            h = block.H[0, 0] * slope * slope;
            double step = h > 0 ? block.G[0] * slope / h : 0;
            double q = Math.Max(0, (at * at) + Math.Clamp(step, -0.5 * ((at * at) + (unit * unit)), 0.5 * ((at * at) + (unit * unit))));
            z = Math.Sqrt(q);
        }

        double sigmaQ = h > 0 ? scale / Math.Sqrt(h) : double.NaN;
        double error = Math.Min(sigmaQ / (2 * Math.Max(z, 1e-9)), Math.Sqrt(sigmaQ));
        return (z, error);
    }
}
