using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Simulation;

/// <summary>Lays one order of a slitless spectrum down: every color's image, defocused and blurred by seeing, side by side.</summary>
/// <remarks>
/// Across the dispersion the image is a cosine series; the coefficient of frequency f in column x is the light of the columns around
/// it, each times the image's partial transform h(u, f) = integral of H(sqrt(g^2 + f^2)) exp(2 pi i g u) dg at its distance u, H being
/// the round transfer function. h is made at some wavelengths and mixed in between.
/// </remarks>
internal static class SpectrumBlur
{
    private const int Nodes = 48;

    /// <summary>Adds the order's electrons.</summary>
    /// <param name="scene">What is drawn.</param>
    /// <param name="electrons">Height x width.</param>
    /// <param name="light">Electrons of a column by its first-order wavelength.</param>
    /// <param name="order">Diffraction order.</param>
    public static void AddOrder(SpectrumScene scene, double[] electrons, Func<double, double> light, int order)
    {
        int w = scene.Width, h = scene.Height, period = 2 * h;
        int nodes = Math.Min(Nodes, w);
        double step = (w - 1.0) / (nodes - 1);
        var kernels = new Kernel[nodes];
        var lens = new LensCurve(scene.CurveWavelengthNm, scene.CurveFocusUm);
        Parallel.For(0, nodes, i => kernels[i] = Kernel.Of(scene, lens, WavelengthAt(scene, i * step) / order, order, period));
        int reach = kernels.Max(k => k.Reach);
        double[] flux = [.. Enumerable.Range(-reach, w + (2 * reach)).Select(x => light(WavelengthAt(scene, x)))];
        Parallel.For(0, w, () => new double[period], (x, _, series) =>
        {
            double at = Math.Clamp(x / step, 0, nodes - 1);
            int i = Math.Min((int)at, nodes - 2);
            double t = at - i;
            int count = Math.Max(kernels[i].Count, kernels[i + 1].Count);
            Array.Clear(series);
            kernels[i].Gather(flux, x + reach, 1 - t, series);
            kernels[i + 1].Gather(flux, x + reach, t, series);
            double u = (2.0 * x / (w - 1)) - 1;
            double y0 = (0.5 * (h - 1)) + (0.5 * scene.TiltPx * u) + (scene.BowPx * u * u);
            for (int y = 0; y < h; y++)
            {
                // Chebyshev's recurrence for cos(k t).
                double angle = 2 * Math.PI * (y - y0) / period;
                double c = Math.Cos(angle), before = 1, now = c, sum = series[0] / period;
                for (int k = 1; k < count; k++)
                {
                    sum += 2.0 / period * series[k] * now;
                    (before, now) = (now, (2 * c * now) - before);
                }

                electrons[(y * w) + x] += Math.Max(sum, 0);
            }

            return series;
        }, _ => { });
    }

    /// <summary>Wavelength of a column, straight on beyond the frame's ends.</summary>
    private static double WavelengthAt(SpectrumScene scene, double column)
    {
        double[] nm = scene.WavelengthsNm;
        int i = Math.Clamp((int)Math.Floor(column), 0, nm.Length - 2);
        return nm[i] + ((column - i) * (nm[i + 1] - nm[i]));
    }

    private static double Focus(SpectrumScene scene, LensCurve lens, double nm, int order) =>
        double.IsFinite(scene.GratingLinesPerMm) && double.IsFinite(scene.GratingDistanceMm)
            ? lens.At(nm) - new Grating(scene.GratingLinesPerMm, scene.GratingDistanceMm, 0, order).SagittalShorteningUm(nm)
            : lens.At(nm);

    /// <summary>h(u, f) of one wavelength.</summary>
    private sealed record Kernel(int Reach, int Count, double[] Values)
    {
        public static Kernel Of(SpectrumScene scene, LensCurve lens, double nm, int order, int period)
        {
            DefocusTransfer transfer = DefocusTransfer.For(scene.Obstruction);
            double defocus = scene.SensorUm - Focus(scene, lens, nm, order);
            double waves = 1000 * defocus / (8 * scene.FocalRatio * scene.FocalRatio * nm);
            double seeing = scene.SeeingArcsec * Math.Pow(nm / 550, -0.2) / PixelScale.ArcsecPerPx(scene.PitchUm, scene.FocalLengthMm);
            double perCycle = nm / 1000 * scene.FocalRatio / scene.PitchUm;
            double disc = Math.Abs(defocus) / (2 * scene.FocalRatio * scene.PitchUm);
            int reach = (int)Math.Min(400, Math.Ceiling(disc + (3 * seeing) + 6)), along = 2 * (reach + 1);
            double Round(double f)
            {
                double power = 0.5 * Seeing.StructureConstant * Math.Pow(f * seeing / Seeing.FwhmFactor, 5.0 / 3);
                return power > 18 || f * perCycle >= 1 ? 0 : transfer.At(f * perCycle, waves, out double _) * Math.Exp(-power);
            }

            int count = 1;
            while (count < period && Round((double)count / period) != 0)
            {
                count++;
            }

            var values = new double[count * ((2 * reach) + 1)];
            var row = new double[along];
            for (int k = 0; k < count; k++)
            {
                double f = (double)k / period, across = k == 0 ? 1 : Math.Sin(Math.PI * f) / (Math.PI * f);
                int used = 0;
                for (int m = 0; m < along; m++)
                {
                    double g = (double)m / along;
                    double value = Round(Math.Sqrt((g * g) + (f * f)));
                    if (value == 0 && m > 0)
                    {
                        break;
                    }

                    row[used++] = (m == 0 ? 1 : 2 * Math.Sin(Math.PI * g) / (Math.PI * g)) * value * across / along;
                }

                for (int u = 0; u <= reach; u++)
                {
                    double angle = 2 * Math.PI * u / along, c = Math.Cos(angle), before = 1, now = c, sum = used > 0 ? row[0] : 0;
                    for (int m = 1; m < used; m++)
                    {
                        sum += row[m] * now;
                        (before, now) = (now, (2 * c * now) - before);
                    }

                    values[(k * ((2 * reach) + 1)) + reach + u] = sum;
                    values[(k * ((2 * reach) + 1)) + reach - u] = sum;
                }
            }

            return new Kernel(reach, count, values);
        }

        /// <summary>Adds the coefficients of one column, <paramref name="at"/> being its place in the flux.</summary>
        public void Gather(double[] flux, int at, double share, double[] series)
        {
            if (share <= 0)
            {
                return;
            }

            ReadOnlySpan<double> near = flux.AsSpan(at - Reach, (2 * Reach) + 1);
            for (int k = 0; k < Count; k++)
            {
                series[k] += share * System.Numerics.Tensors.TensorPrimitives.Dot(near, Values.AsSpan(k * near.Length, near.Length));
            }
        }
    }
}
