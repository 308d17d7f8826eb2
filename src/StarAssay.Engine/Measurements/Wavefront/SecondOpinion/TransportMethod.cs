using System.Numerics.Tensors;
using MathNet.Numerics.LinearAlgebra;
using MathNet.Numerics.LinearAlgebra.Factorization;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront.SecondOpinion;

/// <summary>
/// The second opinion: a linear method that shares neither likelihood nor pixel model with the fit. Light that moves
/// along the rays between the two planes changes the moments of the image: to first order, in disc coordinates and
/// with the outside image turned by 180 degrees,
/// <c>M_inside[phi] - M_outside[phi] = -(8 N^2 / l) mean(grad W . grad phi)</c>,
/// the weak form of the transport of intensity (Teague 1983, J. Opt. Soc. Am. 73, 1434; Roddier 1988, Appl. Opt. 27,
/// 1223; forms from memory). Diffraction at the pupil's edge weakens that response, so it is taken from the
/// diffraction image of the perfect pupil, and a few corrections with the same matrix remove what is not linear.
/// </summary>
/// <remarks>
/// Blur by seeing is common to both images and drops out of the difference but for a small change of the test
/// functions, which is made. Differences of the two distances show as Noll 4, which is solved for and left out.
/// </remarks>
public static class TransportMethod
{
    private const double ProbeNm = 4;
    private const double ConvergedNm = 0.1;
    private const int MaxIterations = 10;
    private const double GaussianFwhm = 2.3548200450309493;

    /// <summary>Share of the found RMS that the method itself leaves uncertain: without noise it was 1.1 to 2.3 % off on
    /// simulated pairs of 20 to 95 nm RMS (docs/wavefront.md).</summary>
    private const double MethodShare = 0.025;

    /// <summary>Estimates the wavefront from a pair.</summary>
    /// <exception cref="InputException">Both images lie on one side, or a size does not fit.</exception>
    public static TransportEstimate Estimate(TransportRequest request, RunContext context)
    {
        if (!(request.Inside.DefocusUm < 0 && request.Outside.DefocusUm > 0))
        {
            throw new InputException("wavefront.sides", "The second opinion needs one image inside focus (negative position) and one outside (positive).",
                "defocus");
        }

        ZernikeIndex[] modes = ZernikeIndex.NollRange(4, request.LastNoll);
        TransportImage[] images = [request.Inside, request.Outside];
        double[] radius = [.. images.Select(i => Math.Abs(i.DefocusUm) / (2 * request.FocalRatio) / request.PitchUm)];
        var sharp = new MomentBasis(modes, 0);
        var measured = new Moments[2];
        for (int k = 0; k < 2; k++)
        {
            measured[k] = Measure(images[k], radius[k], k == 0 ? 1 : -1, sharp);
        }

        double[] target = Difference(measured[0].Values, measured[1].Values);
        var planes = new DefocusedPlane[2];
        var basis = new MomentBasis[2];
        Parallel.For(0, 2, context.Parallel, k =>
        {
            planes[k] = new DefocusedPlane(request, modes, images[k].DefocusUm);

            // The pixel's own width adds as its standard deviation does.
            double pixel = request.BlurFwhmPixels > 0 ? GaussianFwhm * GaussianFwhm / 12 : 0;
            double fwhm = Math.Sqrt((request.BlurFwhmPixels * request.BlurFwhmPixels) + pixel);
            basis[k] = new MomentBasis(modes, fwhm / radius[k]);
        });
        double[] ModelMoments(int k, double[] a) => Model(planes[k], basis[k], k == 0 ? 1 : -1, a);

        double[] flat = new double[modes.Length];
        double[][] perfect = [ModelMoments(0, flat), ModelMoments(1, flat)];
        var response = Matrix<double>.Build.Dense(modes.Length, modes.Length);
        double[][] columns = new double[modes.Length][];
        Parallel.For(0, modes.Length, context.Parallel, j =>
        {
            double[] probe = new double[modes.Length];
            probe[j] = ProbeNm;

            // Turned and with W reversed, the inside image of a pupil is its outside image: one side is enough.
            double[] moved = ModelMoments(0, probe);
            columns[j] = [.. moved.Select((m, i) => 2 * (m - perfect[0][i]) / ProbeNm)];
        });
        for (int j = 0; j < modes.Length; j++)
        {
            response.SetColumn(j, columns[j]);
        }

        LU<double> solver = response.LU();
        double[] coefficient = new double[modes.Length];
        double[] model = Difference(perfect[0], perfect[1]);
        int iteration = 0;
        double step = double.PositiveInfinity;
        while (iteration < MaxIterations && step > ConvergedNm)
        {
            context.Cancel.ThrowIfCancellationRequested();
            Vector<double> change = solver.Solve(Vector<double>.Build.Dense(Difference(target, model)));
            for (int j = 0; j < coefficient.Length; j++)
            {
                coefficient[j] += change[j];
            }

            step = change.L2Norm();
            iteration++;
            double[][] sides = new double[2][];
            Parallel.For(0, 2, context.Parallel, k => sides[k] = ModelMoments(k, coefficient));
            model = Difference(sides[0], sides[1]);
        }

        double rms = Math.Sqrt(coefficient.Skip(1).Sum(c => c * c));
        Matrix<double> noise = Noise(images[0], radius[0], 1, sharp, measured[0]) + Noise(images[1], radius[1], -1, sharp, measured[1]);
        Matrix<double> inverse = response.Inverse();
        Matrix<double> covariance = inverse * noise * inverse.Transpose();
        double own = MethodShare * rms / Math.Sqrt(modes.Length - 1);
        return new TransportEstimate(
            [.. modes.Select(z => z.Noll)],
            coefficient,
            [.. Enumerable.Range(0, modes.Length).Select(j => Math.Sqrt(covariance[j, j] + (own * own)))],
            [.. Enumerable.Range(0, modes.Length).Select(j => Math.Sqrt(covariance[j, j]))],
            own,
            rms,
            iteration,
            step <= ConvergedNm && double.IsFinite(step));
    }

    private static Moments Measure(TransportImage image, double radius, int turn, MomentBasis basis)
    {
        float[] pixels = Fill(image);
        double sum = 0;
        double sx = 0;
        double sy = 0;
        for (int p = 0; p < pixels.Length; p++)
        {
            sum += pixels[p];
            sx += pixels[p] * (p % image.Width);
            sy += pixels[p] * (double)(p / image.Width);
        }

        Moments found = Moments.Of(pixels, image.Width, image.Height, radius, turn, basis, sx / sum, sy / sum);
        if (!(found.Flux > 0) || !(found.CenterX > 0 && found.CenterX < image.Width && found.CenterY > 0 && found.CenterY < image.Height))
        {
            throw new CannotMeasureException("wavefront.no-disc", "The second opinion found no disc of light in the image. Check the background and the crop.");
        }

        return found;
    }

    private static double[] Model(DefocusedPlane plane, MomentBasis basis, int turn, double[] coefficient)
    {
        float[] image = plane.Image(coefficient);
        double middle = (plane.Size - 1) / 2.0;
        return Moments.Of(image, plane.Size, plane.Size, plane.Radius, turn, basis, middle, middle).Values;
    }

    // What a pixel's noise does to each moment: directly, through the flux and through the centroid.
    private static Matrix<double> Noise(TransportImage image, double radius, int turn, MomentBasis basis, Moments moments)
    {
        const double Nudge = 0.01;
        float[] pixels = Fill(image);
        double[] right = Moments.About(pixels, image.Width, image.Height, radius, turn, basis, moments.CenterX + (Nudge * radius), moments.CenterY,
            moments.Flux);
        double[] up = Moments.About(pixels, image.Width, image.Height, radius, turn, basis, moments.CenterX, moments.CenterY + (Nudge * radius), moments.Flux);
        int count = basis.Count, stride = basis.Stride;
        double[] sums = new double[count * stride], effect = new double[stride];
        for (int p = 0; p < image.Pixels.Length; p++)
        {
            double x = ((p % image.Width) - moments.CenterX) / radius;
            double y = ((p / image.Width) - moments.CenterY) / radius;
            double fade = basis.Fade(x, y);
            if (fade == 0 || !basis.Evaluate(turn * x, turn * y, effect))
            {
                continue;
            }

            double weight = Math.Sqrt(image.Variance[p]) / moments.Flux;
            for (int j = 0; j < count; j++)
            {
                double byCenter = ((right[j] - moments.Values[j]) * x) + ((up[j] - moments.Values[j]) * y);
                effect[j] = weight * (effect[j] - (fade * (moments.Values[j] - (byCenter / Nudge))));
            }

            for (int j = 0; j < count; j++)
            {
                Span<double> row = sums.AsSpan(j * stride, stride);
                TensorPrimitives.MultiplyAdd(effect, effect[j], row, row);
            }
        }

        return Matrix<double>.Build.Dense(count, count, (j, k) => sums[(j * stride) + k]);
    }

    // Bad pixels take the mean of the good ones round them; large holes are filled ring by ring.
    private static float[] Fill(TransportImage image)
    {
        if (!image.Bad.Contains(true))
        {
            return image.Pixels;
        }

        float[] pixels = (float[])image.Pixels.Clone();
        bool[] bad = (bool[])image.Bad.Clone();
        for (bool changed = true; changed;)
        {
            changed = false;
            bool[] now = (bool[])bad.Clone();
            for (int p = 0; p < pixels.Length; p++)
            {
                if (!bad[p])
                {
                    continue;
                }

                int x = p % image.Width;
                int y = p / image.Width;
                double sum = 0;
                int used = 0;
                for (int j = Math.Max(0, y - 1); j <= Math.Min(image.Height - 1, y + 1); j++)
                {
                    for (int i = Math.Max(0, x - 1); i <= Math.Min(image.Width - 1, x + 1); i++)
                    {
                        int q = (j * image.Width) + i;
                        sum += bad[q] ? 0 : pixels[q];
                        used += bad[q] ? 0 : 1;
                    }
                }

                if (used > 0)
                {
                    pixels[p] = (float)(sum / used);
                    now[p] = false;
                    changed = true;
                }
            }

            bad = now;
        }

        return pixels;
    }

    private static double[] Difference(double[] a, double[] b) => [.. a.Zip(b, (x, y) => x - y)];
}
