using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Weighs a color focus curve.</summary>
/// <remarks>Depth of focus +-2 lambda N^2 (quarter wave): Born and Wolf; Smith, "Modern Optical Engineering". Strehl ratio of a
/// defocused annulus [sin(pi W (1 - e^2)) / (pi W (1 - e^2))]^2 with W = dz / (8 N^2 lambda): Born and Wolf, ch. 8.8; Mahajan.
/// RMS radius of a uniform annulus of outer diameter dz / N: dz / (2 sqrt2 N) sqrt(1 + e^2).</remarks>
public static class FiguresOfMerit
{
    /// <summary>Whether a curve at these wavelengths covers a band; a bin's half width beyond its ends does no harm.</summary>
    public static bool Covers(IReadOnlyList<double> wavelengthNm, double minNm, double maxNm) =>
        minNm >= wavelengthNm.Min() - 6 && maxNm <= wavelengthNm.Max() + 6 && maxNm - minNm >= 5;

    /// <summary>Computes the figures with their uncertainties from the replicates.</summary>
    [EngineTask("color_focus.merit")]
    public static MeritResult Evaluate(MeritRequest request, RunContext context)
    {
        request = Checked(request);
        int n = request.WavelengthNm.Length;
        var grid = new WeightedCurve(request, request.ShiftUm);
        double halo = double.IsFinite(request.HaloRadiusUm) ? request.HaloRadiusUm : 3 * 1.219670 * request.ReferenceNm / 1000 * request.FocalRatio;
        double[] value = grid.Figures(request.MinNm, request.MaxNm, request.Focus, halo, out double sensor);
        int count = request.ReplicatesUm.Length / n;
        var spread = new double[count][];
        Parallel.For(0, count, context.Parallel, b =>
        {
            var g = new WeightedCurve(request, request.ReplicatesUm.AsSpan(b * n, n).ToArray());
            spread[b] = g.Figures(request.MinNm, request.MaxNm, request.Focus, halo, out _);
        });
        Measured Number(int k, string unit) => new(value[k], count > 1 ? CurveAssembly.Spread(spread.Select(s => s[k])) : double.NaN, unit);
        double toArcsec = PixelScale.ArcsecPerPx(1, request.FocalLengthMm);
        Measured rms = Number(1, "um");
        double[] cuts = [.. Enumerable.Range(0, 200).Select(k => request.MinNm + (5.0 * k)).Where(c =>
            c <= request.MinNm + (0.5 * (request.MaxNm - request.MinNm)))];
        double[][] cut = [.. cuts.Select(c => grid.Figures(c, request.MaxNm, request.Focus, halo, out _))];
        double all = grid.Light(request.MinNm, request.MaxNm);
        (double lo, double hi, double light, double strehl) = grid.WidestBand(request.MinNm, request.MaxNm, request.WantedStrehl);
        return new MeritResult
        {
            InFocusFraction = Number(0, ""),
            LightStep = grid.LargestShare(request.MinNm, request.MaxNm),
            RmsBlur = rms,
            RmsBlurSky = new Measured(rms.Value * toArcsec, rms.Uncertainty * toArcsec, "arcsec"),
            PolychromaticStrehl = Number(2, ""),
            HaloFraction = Number(3, ""),
            HaloRadiusUm = halo,
            SecondarySpectrum = Scaled(Number(4, "")),
            FocusSpread = Scaled(Number(5, "")),
            SensorUm = sensor,
            BandNm = [request.MinNm, request.MaxNm],
            Focus = request.Focus,
            BestBandNm = [lo, hi],
            BestBandLight = light / all,
            BestBandStrehl = strehl,
            CutOnNm = cuts,
            CutStrehl = [.. cut.Select(c => c[2])],
            CutInFocus = [.. cut.Select(c => c[0])],
            CutLight = [.. cuts.Select(c => grid.Light(c, request.MaxNm) / all)],
            DefocusDepths = [.. request.ShiftUm.Select((s, i) =>
                (s - sensor) / (2 * request.WavelengthNm[i] / 1000 * request.FocalRatio * request.FocalRatio))],
            BlurArcsec = [.. request.ShiftUm.Select(s => Math.Abs(s - sensor) / request.FocalRatio * toArcsec)],
        };

        Measured Scaled(Measured m) => m with
        {
            Value = m.Value / (1000 * request.FocalLengthMm),
            Uncertainty = m.Uncertainty / (1000 * request.FocalLengthMm)
        };
    }

    /// <summary>The request with weights and edges put in.</summary>
    /// <exception cref="InputException">Lengths differ, a number is out of range, or the curve does not reach over the band.</exception>
    private static MeritRequest Checked(MeritRequest request)
    {
        int n = request.WavelengthNm.Length;
        if (request.Weight.Length == 0)
        {
            request = request with
            {
                Weight = [.. request.WavelengthNm.Select(w => double.IsNaN(request.LightKelvin) ? 1
                : StellarLight.OnSilicon(w, request.LightKelvin))]
            };
        }

        if (n < 2 || request.ShiftUm.Length != n || request.Weight.Length != n || request.ReplicatesUm.Length % n != 0)
        {
            throw new InputException("merit.lengths", "Wavelengths, shifts and weights must have one length of at least 2.", "wavelength_nm");
        }

        WavelengthRange.Require(request.BandNm, "band");
        InputException.RequireRange(request.FocalRatio, 1.5, 100, "focal_ratio", "");
        double shortest = request.WavelengthNm.Min(), longest = request.WavelengthNm.Max();
        if (request.Passband.Length > 0)
        {
            (double from, double to) = Passbands.Edges(request.Passband);
            request = request with
            {
                BandNm = [Math.Max(from, Math.Ceiling(shortest)), Math.Min(to, Math.Floor(longest))],
                Weight = [.. request.Weight.Select((w, i) => w * Passbands.At(request.Passband, request.WavelengthNm[i]))],
                Passband = string.Empty,
            };
        }

        if (!Covers(request.WavelengthNm, request.MinNm, request.MaxNm))
        {
            throw new InputException("merit.band",
                $"The band {request.MinNm:0} to {request.MaxNm:0} nm is not covered by the curve, which runs from {shortest:0} to {longest:0} nm. Name a " +
                    "band inside it.", "band");
        }

        return request;
    }
}
