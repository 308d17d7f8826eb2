using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Where the pixels of a color's image lie on its radial profile: the same for all images of a frame.</summary>
/// <remarks>Images are symmetric about their middle, along the dispersion and across: a quarter of each is kept.</remarks>
internal sealed class ImagePlan
{
    private const double Step = 0.5; // of the radial table, pixels
    private readonly int[] cell;
    private readonly double[] share;
    private readonly double[] bessel;
    private readonly int points;

    /// <summary>Plans images.</summary>
    /// <param name="grid">Rows of the profiles.</param>
    /// <param name="reach">Columns to either side of the middle.</param>
    public ImagePlan(ProfileGrid grid, int reach)
    {
        Grid = grid;
        Reach = reach;
        Half = grid.Farthest + 1;
        cell = new int[(reach + 1) * Half];
        share = new double[cell.Length];
        for (int d = 0; d <= reach; d++)
        {
            for (int h = 0; h < Half; h++)
            {
                double x = Math.Sqrt((d * d) + (h * h)) / Step;
                cell[(d * Half) + h] = (int)x;
                share[(d * Half) + h] = x - (int)x;
            }
        }

        points = cell.Max() + 2;
        bessel = new double[points * Frequencies];
        for (int i = 0; i < points; i++)
        {
            double x = 2 * Math.PI * i * Step / Frequencies;
            for (int k = 0; k < Frequencies; k++)
            {
                bessel[(i * Frequencies) + k] = Bessel.J0((k + 1) * x);
            }
        }
    }

    /// <summary>Rows and their frequencies.</summary>
    public ProfileGrid Grid { get; }

    /// <summary>Columns to either side of the middle.</summary>
    public int Reach { get; }

    /// <summary>Rows from the middle on, to the farther side.</summary>
    public int Half { get; }

    /// <summary>Frequencies up to one cycle a pixel; the period in pixels too.</summary>
    public int Frequencies => (int)Grid.Period;

    /// <summary>Rows of the window, from those from the middle on.</summary>
    public double[] Whole(ReadOnlySpan<double> column)
    {
        var whole = new double[Grid.Rows];
        for (int r = 0; r < whole.Length; r++)
        {
            whole[r] = column[Math.Abs(r + Grid.FirstRow)];
        }

        return whole;
    }

    /// <summary>A quarter of the image, column by column, of the light with these factors of the frequencies (Hankel transform).</summary>
    public double[] Quarter(ReadOnlySpan<double> factors)
    {
        var radial = new double[points];
        for (int i = 0; i < points; i++)
        {
            radial[i] = Sums.Dot(factors, bessel.AsSpan(i * Frequencies, factors.Length));
        }

        var quarter = new double[cell.Length];
        for (int i = 0; i < quarter.Length; i++)
        {
            int c = cell[i];
            quarter[i] = radial[c] + (share[i] * (radial[c + 1] - radial[c]));
        }

        return quarter;
    }
}

/// <summary>The image of one color on the pixels of the window, half of it along the dispersion and half across: the others are the same.</summary>
internal sealed class ColorImage
{
    private readonly double[] pixels;

    public ColorImage(ColorFocusInput input, ImagePlan plan, ColorFocusRequest request, int frame, int bin, double nm, double defocusUm, double seeingPx,
        double blurPx2, bool slit)
    {
        Plan = plan;
        ProfileGrid grid = plan.Grid;
        // All on the trace itself: images with their bins' own places would mix a row apart where the window steps.
        if (slit)
        {
            var model = new ProfileModel(grid, DefocusTransfer.For(request.Obstruction), nm, request.FocalRatio, input.PitchUm,
                input.Spectra[frame].SubpixelVariance[bin]);
            double[] whole = new double[grid.Rows], unused = new double[grid.Rows];
            model.Evaluate(defocusUm, seeingPx, blurPx2, 0, model.NewWork(), whole, unused, unused, unused, unused);
            pixels = [.. Enumerable.Range(0, plan.Half).Select(h => whole[-grid.FirstRow + (h - grid.FirstRow < grid.Rows ? h : -h)])];
        }
        else
        {
            pixels = plan.Quarter(Factors(request, grid, nm, input.PitchUm, defocusUm, seeingPx, blurPx2));
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
    private static double[] Factors(ColorFocusRequest request, ProfileGrid grid, double nm, double pitchUm, double defocusUm, double seeingPx, double blurPx2)
    {
        DefocusTransfer transfer = DefocusTransfer.For(request.Obstruction);
        double perPixel = nm / 1000 * request.FocalRatio / pitchUm; // share of the cutoff of one cycle a pixel
        double waves = defocusUm * 1000 / (8 * request.FocalRatio * request.FocalRatio * nm);
        // The pixel as a Gaussian of its variance: only differences between sums of these images count.
        double seeing = Math.Pow(seeingPx, 5.0 / 3), blur = blurPx2 + (1 / 12.0);
        var weight = new double[grid.Frequencies];
        int count = 0;
        for (int k = 0; k < weight.Length; k++)
        {
            double f = (k + 1) / grid.Period, damped = (grid.SeeingPower[k] * seeing) + (grid.BlurPower[k] * blur);
            if (f * perPixel >= 1 || damped > 12)
            {
                break;
            }

            weight[count++] = f * transfer.At(new DefocusTransfer.Share(f * perPixel), waves, out _) * Math.Exp(-Math.Max(damped, 0));
        }

        return weight[..count];
    }
}

/// <summary>Bessel function of order 0 from a table, good to 1e-5.</summary>
internal static class Bessel
{
    private const double TableStep = 0.01;
    private static readonly double[] Table = [.. Enumerable.Range(0, 30000).Select(i => MathNet.Numerics.SpecialFunctions.BesselJ(0, i * TableStep))];

    public static double J0(double x)
    {
        double t = x / TableStep;
        int i = (int)t;
        return i + 1 < Table.Length
            ? Table[i] + ((t - i) * (Table[i + 1] - Table[i]))
            : Math.Sqrt(2 / (Math.PI * x)) * Math.Cos(x - (Math.PI / 4));
    }
}
