using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Stars;

/// <summary>How large stars are in each part of the field: knots of a nebula come in all sizes, stars of one place in one.</summary>
internal sealed class SizeAround
{
    // Whether stars are out of focus somewhere the most significant objects there tell: knots of a nebula are large, too.
    private const int Around = 64;
    private const int Voters = 8;
    private const int InFocus = 6;
    private const double SameSize = 1.7;

    private readonly Seed[] all;
    private readonly double[] weights;
    private readonly PointGrid grid;
    private readonly double width;
    private readonly bool[] stars;

    /// <summary>Takes the objects of a frame.</summary>
    /// <param name="all">All objects, those of no diameter as wide as <paramref name="width"/>.</param>
    /// <param name="stars">Whether they are compact stars for sure; those beyond are none.</param>
    /// <param name="width">Width of compact stars, pixels.</param>
    /// <param name="mesh">The sky; its noise counts.</param>
    public SizeAround(Seed[] all, bool[] stars, double width, BackgroundMesh mesh)
    {
        (this.all, this.stars, this.width) = (all, stars, width);
        double cell = Math.Sqrt((double)mesh.Width * mesh.Height * Around / Math.Max(1, all.Length));
        grid = new PointGrid([.. all.Select(s => (double)s.X)], [.. all.Select(s => (double)s.Y)], [.. Enumerable.Range(0, all.Length)], cell);

        // Light per pixel: the brightest are stars.
        weights = [.. all.Select(s => Math.Sqrt(s.Significance * mesh.At(s.X, s.Y).Noise / Math.Max(1, s.Diameter / DiscScale.BinnedDiameter)))];
    }

    /// <summary>Usual width of the objects round one, pixels; the bright ones count more.</summary>
    public double Of(Seed seed)
    {
        Span<double> distance = stackalloc double[Around];
        Span<int> near = stackalloc int[Around];
        int[] found = near[..grid.Nearest(seed.X, seed.Y, -1, distance, near)].ToArray();
        if (found.Count(k => k < stars.Length && stars[k]) >= InFocus)
        {
            return width;
        }

        int[] voters = [.. found.OrderByDescending(k => weights[k]).Take(Voters)];
        double[] widths = [.. voters.Select(k => Math.Max(all[k].Diameter, width))], weight = [.. voters.Select(k => weights[k])];
        Array.Sort(widths, weight);
        double half = 0.5 * weight.Sum(), sum = 0;
        for (int k = 0; k < widths.Length; k++)
        {
            sum += weight[k];
            if (sum >= half)
            {
                return widths[k];
            }
        }

        return width;
    }

    /// <summary>Whether a disc is as large as they.</summary>
    public bool Agrees(Seed disc) => Of(disc) is var usual && disc.Diameter < SameSize * usual && usual < SameSize * disc.Diameter;
}
