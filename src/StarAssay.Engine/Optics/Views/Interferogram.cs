using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics.Views;

/// <summary>Fringes that this wavefront would make against a perfect tilted wave.</summary>
/// <param name="Map">The pupil.</param>
/// <param name="TiltXFringes">Fringes of tilt across the pupil along x.</param>
/// <param name="TiltYFringes">The same along y.</param>
/// <param name="Passes">1: one fringe is one wave. 2: double pass, as against a flat, one fringe is half a wave.</param>
public sealed record InterferogramRequest(PupilMap Map, double TiltXFringes = 5, double TiltYFringes = 0, int Passes = 1);

/// <summary>Fringe brightness.</summary>
/// <param name="Brightness">0 to 1, NaN outside the pupil; row y, column x.</param>
public sealed record Interferogram(double[,] Brightness);

/// <summary>Draws synthetic interferograms.</summary>
public static class Interferograms
{
    /// <summary>Draws one: brightness (1 + cos(2 pi (passes W / lambda + tilt))) / 2.</summary>
    public static Interferogram Draw(InterferogramRequest request)
    {
        PupilMap map = request.Map;
        map.RequireValid();
        InputException.RequireRange(request.Passes, 1, 2, nameof(request.Passes), "");
        int n = map.Size;
        double[,] brightness = new double[n, n];
        foreach ((int y, int x) in FocusedImages.Grid(n))
        {
            double u = ((2 * x) + 1 - n) / (double)n;
            double v = ((2 * y) + 1 - n) / (double)n;
            double waves = (request.Passes * map.WavefrontNm[y, x] / map.WavelengthNm)
                + (0.5 * ((request.TiltXFringes * u) + (request.TiltYFringes * v)));
            brightness[y, x] = map.AmplitudeAt(y, x) > 0 ? 0.5 * (1 + Math.Cos(2 * Math.PI * waves)) : double.NaN;
        }

        return new Interferogram(brightness);
    }
}
