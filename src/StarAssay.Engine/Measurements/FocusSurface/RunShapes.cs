using System.Numerics;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.FocusSurface;

/// <summary>What the shapes of a run's stars tell: the split of tangential and sagittal focus, and how much coma goes with it.</summary>
/// <param name="whole">Of all frames; null when too few stars have a shape.</param>
/// <param name="without">With each frame left out in turn.</param>
/// <param name="moves">By how much coma may move the surface.</param>
/// <param name="depthUm">Depth of focus to either side.</param>
internal sealed class RunShapes(ShapeFit? whole, ShapeFit?[] without, SurfaceShift moves, double depthUm)
{
    /// <summary>Standard uncertainty by what leaving out each frame in turn changes.</summary>
    /// <remarks>
    /// A curve through focus has three unknowns, so that a frame has 3 / n of its own weight in the mean, and leaving it out shows its error
    /// over 1 - 3 / n: of the jackknife's variance that share is the errors' own (MacKinnon and White 1985, J. Econometrics 29, 305, HC2 against
    /// HC3, from memory). With five frames the rest is no small part.
    /// </remarks>
    /// <param name="left">Values without each frame, five or more.</param>
    public static double ByFrames(double[] left) => Math.Sqrt(1 - (3.0 / left.Length)) * Jackknife.Scatter(left);

    /// <summary>Depth of focus to either side, um.</summary>
    public double DepthUm => depthUm;

    /// <summary>By how much coma may move the surface.</summary>
    public SurfaceShift Shift => moves;

    /// <summary>Tangential less sagittal focus at the corners, by what grows with the squared height.</summary>
    /// <param name="random">Its part of the uncertainty that frames show.</param>
    public Measured CornerSplit(out double random) => Of(2, -Complex.One, out random);

    /// <summary>The split in the middle of the sensor, and the direction of the lines that stars become outside of focus, degrees.</summary>
    public Measured MiddleSplit(out double directionDeg)
    {
        Complex odd = whole?.Odd[0] ?? Complex.NaN;
        directionDeg = odd.Phase * 90 / Math.PI;
        Complex along = odd / odd.Magnitude;
        return Of(0, along, out _);
    }

    private Measured Of(int term, Complex along, out double random)
    {
        double Value(ShapeFit fit) => (fit.Odd[term] * Complex.Conjugate(along)).Real / ShapeFit.Response;
        random = double.NaN;
        if (whole is null || without.Any(fit => fit is null))
        {
            return Measured.None("um");
        }

        // So few frames seem to agree by chance now and then: what the stars scatter by is there in any case.
        double at = Value(whole), frames = ByFrames([.. without.Select(fit => Value(fit!))]);
        random = Math.Max(frames, whole.Noise(term, along) / ShapeFit.Response);
        return new Measured(at, Math.Sqrt((random * random) + Math.Pow(ShapeFit.ResponseScatter * at, 2)), "um");
    }
}
