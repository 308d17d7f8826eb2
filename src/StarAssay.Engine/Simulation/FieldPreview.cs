using System.Numerics.Tensors;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Simulation;

/// <summary>A star at several places of the sensor, for a slider.</summary>
/// <param name="Field">What changes over the field.</param>
/// <param name="Pupil">What passes light.</param>
/// <param name="FocalRatio">Focal length over aperture.</param>
/// <param name="WavelengthNm">Wavelength.</param>
/// <param name="FocusPositionUm">Position of the sensor's middle against the best focus there.</param>
/// <param name="XMm">Places, mm from the sensor's middle.</param>
/// <param name="YMm">Likewise.</param>
/// <param name="HalfWidthUm">Half the width of each picture.</param>
/// <param name="Points">Points along each side of a picture.</param>
public sealed record FieldPreviewRequest(FieldErrors Field, PupilShape Pupil, double FocalRatio, double WavelengthNm, double FocusPositionUm, double[] XMm,
    double[] YMm, double HalfWidthUm = 40, int Points = 48);

/// <summary>Pictures, one after the other, rows along y.</summary>
/// <param name="Images">Each with the light of one star; 1 = center of the perfect image.</param>
/// <param name="DefocusUm">Sensor against the best focus at each place, positive outside.</param>
/// <param name="RmsNm">Wavefront error at each place, defocus included.</param>
public sealed record FieldPreviewResult(float[] Images, double[] DefocusUm, double[] RmsNm);

/// <summary>Draws stars over a field in one color, without seeing and pixels, fast enough to follow a slider.</summary>
public static class FieldPreview
{
    // A star of radius r, in lambda N, needs twice as many samples across the pupil.
    private const int FewestSamples = 48;
    private const int MostSamples = 192;
    private const int MostPlaces = 400;

    /// <summary>Draws them.</summary>
    /// <exception cref="InputException">A number is out of range.</exception>
    public static FieldPreviewResult Draw(FieldPreviewRequest request, RunContext context)
    {
        int places = request.XMm.Length, m = request.Points;
        InputException.RequireRange(request.FocalRatio, 0.5, 200, "focal_ratio", "");
        InputException.RequireRange(request.WavelengthNm, 100, 30000, "wavelength_nm", "nm");
        InputException.RequireRange(request.HalfWidthUm, 0.1, 10000, "half_width_um", "um");
        InputException.RequireRange(m, 8, 256, "points", "");
        InputException.RequireRange(places, 1, MostPlaces, "x_mm", "");
        InputException.RequireRange(request.YMm.Length, places, places, "y_mm", "");
        double lambdaN = request.WavelengthNm * 1e-3 * request.FocalRatio, half = request.HalfWidthUm / lambdaN;
        double[] defocus = [.. Enumerable.Range(0, places).Select(k => request.Field.DefocusUm(request.FocusPositionUm, request.XMm[k], request.YMm[k]))];
        double largest = defocus.Max(Math.Abs) / (2 * request.FocalRatio) / lambdaN;
        int n = (int)Math.Ceiling(Math.Clamp(2.5 * Math.Max(half, largest), FewestSamples, MostSamples) / 16) * 16;
        if (2 * largest > n)
        {
            throw new InputException("lab.too-far",
                $"Some star is {largest * lambdaN:F0} um in radius: too far out of focus to be drawn. Choose smaller faults.", "field");
        }

        double[] share = new double[n * n];
        PupilRaster.Draw(request.Pupil, n, n, share, 0.5);
        float[] open = Array.ConvertAll(share, s => (float)s), u = new float[n * n], v = new float[n * n];
        for (int k = 0; k < u.Length; k++)
        {
            (u[k], v[k]) = ((float)(((2 * (k % n)) + 1 - n) / (double)n), (float)(((2 * (k / n)) + 1 - n) / (double)n));
        }

        const int First = 4, Last = 8;
        float[][] modes = [.. Enumerable.Range(First, Last - First + 1).Select(noll => ZernikeRows.Row(ZernikeIndex.FromNoll(noll), u, v))];
        var transform = new SeparableTransform(n, m, -half, 2 * half / (m - 1));
        float[] images = new float[places * m * m];
        double[] rms = new double[places];
        double sum = share.Sum();
        Sharing.For(places, context, place =>
        {
            (double z5, double z6, double z7, double z8) = request.Field.AberrationsNm(request.XMm[place], request.YMm[place], request.FocalRatio);

            // dz rho^2 / (8 N^2) is this much of Noll's 4, sqrt(3) (2 rho^2 - 1), and a piston.
            double z4 = defocus[place] * 1000 / (8 * request.FocalRatio * request.FocalRatio) / (2 * Math.Sqrt(3));
            double[] terms = [z4, z5, z6, z7, z8];
            rms[place] = Math.Sqrt(terms.Sum(t => t * t));
            float[] phase = new float[n * n];
            for (int k = 0; k < terms.Length; k++)
            {
                TensorPrimitives.MultiplyAdd(modes[k], (float)(-2 * Math.PI * terms[k] / request.WavelengthNm), phase, phase);
            }

            var field = new SeparableTransform.Parts(new float[n * n], new float[n * n]);
            TensorPrimitives.SinCos(phase, field.Im, field.Re);
            TensorPrimitives.Multiply(field.Re, open, field.Re);
            TensorPrimitives.Multiply(field.Im, open, field.Im);
            SeparableTransform.Parts light = transform.Forward(field);
            Span<float> image = images.AsSpan(place * m * m, m * m);
            TensorPrimitives.Multiply(light.Re, light.Re, image);
            TensorPrimitives.MultiplyAdd(light.Im, light.Im, image, image);
            TensorPrimitives.Multiply(image, (float)(1 / (sum * sum)), image);
        });
        return new FieldPreviewResult(images, defocus, rms);
    }
}
