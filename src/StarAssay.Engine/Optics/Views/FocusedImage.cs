using System.Numerics;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics.Views;

/// <summary>The image of a star at focus, before seeing and pixels.</summary>
/// <param name="Map">The pupil.</param>
/// <param name="HalfWidthLambdaN">Half the width of the image in units of wavelength x focal ratio.</param>
/// <param name="Samples">Samples along each side.</param>
/// <param name="ShiftUm">Position of the screen, positive away from the objective.</param>
public sealed record FocusedImageRequest(PupilMap Map, double HalfWidthLambdaN = 5, int Samples = 129, double ShiftUm = 0);

/// <summary>Image, brightest value 1 for a perfect telescope of the same pupil.</summary>
/// <param name="Intensity">Row y, column x; 1 = center of the perfect image.</param>
/// <param name="PositionUm">Coordinate of the samples along either axis, um on the sensor.</param>
/// <param name="AiryRadiusUm">Radius of the first dark ring of a clear aperture, 1.2197 lambda N.</param>
/// <param name="CenterRatio">Intensity in the center: the Strehl ratio when tilt has been removed from the map.</param>
public sealed record FocusedImage(double[,] Intensity, double[] PositionUm, double AiryRadiusUm, double CenterRatio);

/// <summary>Draws the focused image by a matrix Fourier transform, exact at any sampling.</summary>
public static class FocusedImages
{
    /// <summary>First zero of J1 divided by pi: Airy's first dark ring in units of lambda N.</summary>
    public const double FirstDarkRing = 1.2196698912665045;

    /// <summary>Draws it.</summary>
    /// <exception cref="InputException">The map is not square, or a number is out of range.</exception>
    public static FocusedImage Draw(FocusedImageRequest request, RunContext context)
    {
        request.Map.RequireValid();
        PupilMap map = request.Map.FineEnoughFor(request.ShiftUm, request.HalfWidthLambdaN);
        InputException.RequireRange(request.HalfWidthLambdaN, 0.1, 500, nameof(request.HalfWidthLambdaN), "lambda N");
        InputException.RequireRange(request.Samples, 3, 2048, nameof(request.Samples), "");
        int n = map.Size;
        int m = request.Samples;
        Complex[,] field = map.Field(request.ShiftUm);
        double[] position = [.. Enumerable.Range(0, m).Select(k => request.HalfWidthLambdaN * ((2.0 * k / (m - 1)) - 1))];
        double sum = 0;
        foreach ((int y, int x) in Grid(n))
        {
            sum += map.AmplitudeAt(y, x);
        }

        // exp(-i pi x rho) with x in lambda N: the Fraunhofer kernel of a lens.
        double[] light = new CenteredTransform(n, m, request.HalfWidthLambdaN).Light(field, context.Parallel);
        double[,] intensity = new double[m, m];
        foreach ((int y, int x) in Grid(m))
        {
            intensity[y, x] = light[(y * m) + x] / (sum * sum);
        }

        Complex center = Complex.Zero;
        foreach ((int y, int x) in Grid(n))
        {
            center += field[y, x];
        }

        double lambdaNUm = map.WavelengthNm * 1e-3 * map.FocalRatio;
        double ratio = center.Magnitude / sum;
        return new FocusedImage(intensity, [.. position.Select(p => p * lambdaNUm)], FirstDarkRing * lambdaNUm, ratio * ratio);
    }

    internal static IEnumerable<(int Y, int X)> Grid(int n)
    {
        for (int y = 0; y < n; y++)
        {
            for (int x = 0; x < n; x++)
            {
                yield return (y, x);
            }
        }
    }
}
