using System.Numerics.Tensors;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics.Views;

/// <summary>A star in focus through the air, for a slider.</summary>
/// <param name="Map">The pupil.</param>
/// <param name="ApertureMm">Its diameter.</param>
/// <param name="SeeingFwhmArcsec">Seeing at this wavelength: full width at half maximum of a large telescope's long exposure; 0 = none.</param>
public sealed record SeeingViewRequest(PupilMap Map, double ApertureMm, double SeeingFwhmArcsec);

/// <summary>Long-exposure images.</summary>
/// <param name="Points">Points along each side.</param>
/// <param name="HalfWidthArcsec">Half the width of a picture.</param>
/// <param name="Image">This telescope's; 1 = center of the perfect image without seeing.</param>
/// <param name="PerfectImage">A perfect telescope's of the same pupil through the same air.</param>
/// <param name="FwhmArcsec">Full width at half maximum of the image averaged over direction.</param>
/// <param name="PerfectFwhmArcsec">That of the perfect telescope.</param>
/// <param name="ApertureOverR0">Aperture over Fried's length.</param>
public sealed record SeeingViewResult(int Points, double HalfWidthArcsec, float[] Image, float[] PerfectImage, double FwhmArcsec, double PerfectFwhmArcsec,
    double ApertureOverR0);

/// <summary>Images through Kolmogorov's turbulence, averaged over a long exposure: the telescope's transfer function times the air's (Fried 1966).</summary>
public static class SeeingViews
{
    // In lambda N; beyond, light of the seeing's wings would fold back into the picture.
    private const double Reach = 32;
    private const double Step = 0.25;
    private const int Points = (int)(2 * Reach / Step);
    private const int Frequencies = 128;
    private const int FinePoints = 128;
    private const double ArcsecPerRadian = 206264.806;

    /// <summary>Draws both.</summary>
    /// <exception cref="InputException">A number is out of range, or the seeing is too wide for the picture.</exception>
    public static SeeingViewResult Draw(SeeingViewRequest request, RunContext context)
    {
        request.Map.RequireValid();
        InputException.RequireRange(request.Map.Size, 16, 256, "samples", "");
        InputException.RequireRange(request.ApertureMm, 5, 2000, "aperture_mm", "mm");
        InputException.RequireRange(request.SeeingFwhmArcsec, 0, 20, "seeing_fwhm_arcsec", "arcsec");
        double unit = request.Map.WavelengthNm * 1e-6 / request.ApertureMm * ArcsecPerRadian;
        double ratio = Math.Pow(Seeing.StrengthFromFwhm(request.SeeingFwhmArcsec, request.Map.WavelengthNm, request.ApertureMm), 0.6);
        if (request.SeeingFwhmArcsec > 0.5 * Reach * unit)
        {
            throw new InputException("lab.seeing", $"Seeing of {request.SeeingFwhmArcsec:F1} arcsec is {request.SeeingFwhmArcsec / unit:F0} times what this " +
                "aperture resolves: too wide for the picture. Choose a smaller aperture or better seeing.", "seeing_fwhm_arcsec");
        }

        var pupil = new QuickViews.Open(request.Map);
        var plane = new SeparableTransform(pupil.Size, Points, -Reach + (0.5 * Step), Step);
        var spectrum = new SeparableTransform(Frequencies, Points, 2 * (-Reach + (0.5 * Step)), 2 * Step);
        float[] air = Air(ratio);
        float[][] images = new float[2][];
        double[] widths = new double[2];
        Sharing.For(2, context, k =>
        {
            SeparableTransform.Parts transfer = Blurred((k == 0 ? pupil : pupil.Perfect).Image(plane, 0), spectrum, air);
            images[k] = spectrum.Forward(transfer).Re;
            (double rough, double off) = Width(images[k], Points, Step);

            // Once more on points so fine that their steps do not show.
            double half = (0.8 * rough) + off;
            var fine = new SeparableTransform(Frequencies, FinePoints, -2 * half, 4 * half / (FinePoints - 1));
            widths[k] = unit * Width(fine.Forward(transfer).Re, FinePoints, 2 * half / (FinePoints - 1)).Fwhm;
        });
        return new SeeingViewResult(Points, (Reach - (0.5 * Step)) * unit, images[0], images[1], widths[0], widths[1], ratio);
    }

    /// <summary>The air's transfer function on the samples of the spectrum; frequencies in shares of the telescope's cutoff, at which the shift is a whole
    /// aperture.</summary>
    private static float[] Air(double apertureOverR0)
    {
        float[] air = new float[Frequencies * Frequencies];
        for (int k = 0; k < air.Length; k++)
        {
            double x = ((2 * (k % Frequencies)) + 1 - Frequencies) / (double)Frequencies, y = ((2 * (k / Frequencies)) + 1 - Frequencies) / (double)Frequencies;
            air[k] = apertureOverR0 > 0 ? (float)Seeing.Mtf(Math.Sqrt((x * x) + (y * y)), 1 / apertureOverR0) : 1;
        }

        return air;
    }

    private static SeparableTransform.Parts Blurred(float[] image, SeparableTransform spectrum, float[] air)
    {
        SeparableTransform.Parts transfer = spectrum.Back(new SeparableTransform.Parts(image, new float[image.Length]));
        TensorPrimitives.Multiply(transfer.Re, air, transfer.Re);
        TensorPrimitives.Multiply(transfer.Im, air, transfer.Im);
        return transfer;
    }

    /// <summary>Twice the radius at which the mean over direction falls to half of its largest value, and how far the star lies from the middle.</summary>
    private static (double Fwhm, double Off) Width(float[] image, int points, double step)
    {
        double[] sum = new double[points], count = new double[points];
        (double x0, double y0, double all) = (0, 0, 0);
        float top = image.Max();
        for (int k = 0; k < image.Length; k++)
        {
            // The bright part alone: the wings hold more light than their place is worth.
            double w = Math.Max(0, image[k] - (0.3f * top));
            (x0, y0, all) = (x0 + (w * (k % points)), y0 + (w * (k / points)), all + w);
        }

        (x0, y0) = (x0 / all, y0 / all);
        for (int k = 0; k < image.Length; k++)
        {
            double r = Math.Sqrt((((k % points) - x0) * ((k % points) - x0)) + (((k / points) - y0) * ((k / points) - y0)));
            int bin = (int)r;
            if (bin < sum.Length - 1)
            {
                sum[bin] += image[k] * (1 - (r - bin));
                count[bin] += 1 - (r - bin);
                sum[bin + 1] += image[k] * (r - bin);
                count[bin + 1] += r - bin;
            }
        }

        double middle = 0.5 * (points - 1), off = step * Math.Max(Math.Abs(x0 - middle), Math.Abs(y0 - middle)), before = top;
        for (int bin = 1; bin < sum.Length && count[bin] > 0; bin++)
        {
            double now = sum[bin] / count[bin];
            if (now < 0.5 * top)
            {
                return (2 * step * (bin - 1 + ((before - (0.5 * top)) / (before - now))), off);
            }

            before = now;
        }

        return (double.NaN, off);
    }
}
