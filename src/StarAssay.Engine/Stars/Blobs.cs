using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>An area above half of a peak.</summary>
/// <param name="X">Middle of the area, holes filled.</param>
/// <param name="Y">Middle of the area.</param>
/// <param name="Diameter">Of a circle as large, pixels, the smoothing taken out; 0 when the peak is too faint, infinite when the area did
/// not end within reach.</param>
/// <param name="Bright">Pixels above the level.</param>
internal readonly record struct Blob(double X, double Y, double Diameter, int Bright)
{
    // Areas of this many pixels and less are hits.
    private const int HitArea = 3;

    /// <summary>Whether it says something of a star's size.</summary>
    public bool IsObject => Bright > HitArea && double.IsFinite(Diameter);
}

/// <summary>
/// How large some of the frame's bright objects are, found without any idea of a star's size: the connected area above half of the peak.
/// A disc out of focus, which holds many peaks, is one area.
/// </summary>
internal static class Blobs
{
    private const int Wanted = 96;
    private const int FewestBlobs = 3;

    /// <summary>Diameters of the areas round some bright peaks all over the field, each area once, in rising order.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="mesh">Its sky.</param>
    /// <param name="peaks">All peaks.</param>
    /// <param name="context">Threads.</param>
    public static double[] Diameters(Frame frame, BackgroundMesh mesh, Seed[] peaks, RunContext context)
    {
        Seed[] some = StarSample.Pick(peaks, frame.Width, frame.Height, Wanted, 2);
        Blob[] found = Measure(frame, mesh, some, context);
        var kept = new List<Blob>();
        foreach (int i in Seed.BySignificance(some))
        {
            Blob blob = found[i];
            if (blob.IsObject && !kept.Exists(b => Math.Abs(b.X - blob.X) + Math.Abs(b.Y - blob.Y) < 0.5 * Math.Min(b.Diameter, blob.Diameter) + 1))
            {
                kept.Add(blob);
            }
        }

        return kept.Count < FewestBlobs ? [] : [.. kept.Select(b => b.Diameter).Order()];
    }

    /// <summary>The area round each peak.</summary>
    public static Blob[] Measure(Frame frame, BackgroundMesh mesh, Seed[] peaks, RunContext context)
    {
        var found = new Blob[peaks.Length];
        Sharing.For(peaks.Length, context, () => new BlobMeter(frame), (i, meter) => found[i] = meter.Measure(peaks[i], mesh));
        return found;
    }
}
