using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>The image of one color on the pixels of the window, half of it along the dispersion and half across: the others are the same.</summary>
internal sealed class ColorImage
{
    private readonly double[] pixels;

    public ColorImage(ColorFocusInput input, ImagePlan plan, ColorFocusRequest request, double subpixelVariance, double nm, double defocusUm, double seeingPx,
        double blurPx2, bool slit)
    {
        Plan = plan;
        ProfileGrid grid = plan.Grid;
        // All on the trace itself: images with their bins' own places would mix a row apart where the window steps.
        if (slit)
        {
            var model = new ProfileModel(grid, DefocusTransfer.For(request.Obstruction), nm, request.FocalRatio, input.PitchUm,
                subpixelVariance);
            double[] whole = new double[grid.Rows], unused = new double[grid.Rows];
            model.Evaluate(defocusUm, seeingPx, blurPx2, 0, model.NewWork(), whole, unused, unused, unused, unused);
            pixels = [.. Enumerable.Range(0, plan.Half).Select(h => whole[-grid.FirstRow + (h - grid.FirstRow < grid.Rows ? h : -h)])];
        }
        else
        {
            pixels = plan.Quarter(Factors(request, plan, nm, input.PitchUm, defocusUm, seeingPx, blurPx2));
        }

        var across = new double[plan.Half];
        Along = new double[plan.Reach + 1];
        for (int d = 0; d <= plan.Reach; d++)
        {
            for (int h = 0; h < plan.Half; h++)
            {
                across[h] += (d == 0 ? 1 : 2) * pixels[(d * plan.Half) + h];
            }

            Along[d] = plan.Whole(Column(d)).Sum();
        }

        Across = plan.Whole(across);
        double total = Across.Sum();
        Scale(pixels, 1 / total);
        Scale(Along, 1 / total);
        Scale(Across, 1 / total);
    }

    /// <summary>Its place among the pixels.</summary>
    public ImagePlan Plan { get; }

    /// <summary>Light in each column from the middle on.</summary>
    public double[] Along { get; }

    /// <summary>Light in each row.</summary>
    public double[] Across { get; }

    /// <summary>Light in the column at a distance; none beyond the reach.</summary>
    public double AlongAt(int distance) => distance <= Plan.Reach ? Along[distance] : 0;

    /// <summary>Rows of the column at a distance, from the middle on.</summary>
    public ReadOnlySpan<double> Column(int distance) => pixels.AsSpan(distance * Plan.Half, Plan.Half);

    private static void Scale(double[] values, double by)
    {
        for (int i = 0; i < values.Length; i++)
        {
            values[i] *= by;
        }
    }

    /// <summary>What telescope, seeing, blur and pixel leave of each frequency, times the frequency.</summary>
    private static double[] Factors(ColorFocusRequest request, ImagePlan plan, double nm, double pitchUm, double defocusUm, double seeingPx, double blurPx2)
    {
        DefocusTransfer transfer = DefocusTransfer.For(request.Obstruction);
        double perPixel = nm / 1000 * request.FocalRatio / pitchUm; // share of the cutoff of one cycle a pixel
        double waves = defocusUm * 1000 / (8 * request.FocalRatio * request.FocalRatio * nm);
        // The pixel as a Gaussian of its variance: only differences between sums of these images count.
        double seeing = Math.Pow(seeingPx, 5.0 / 3);
        double blur = SeeingLaw.Bounded(blurPx2, seeingPx).Variance + (1 / 12.0);
        HankelTable table = plan.Table;
        var weight = new double[table.Frequency.Length];
        int count = 0;
        for (int k = 0; k < weight.Length; k++)
        {
            double f = table.Frequency[k], damped = (table.SeeingPower[k] * seeing) + (table.BlurPower[k] * blur);
            if (f * perPixel >= 1 || damped > 12)
            {
                break;
            }

            weight[count++] = f * transfer.At(new DefocusTransfer.Share(f * perPixel), waves, out _) * Math.Exp(-Math.Max(damped, 0));
        }

        return weight[..count];
    }
}
