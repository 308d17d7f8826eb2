using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// Parts of the uncertainty from what is stated and held fixed in the fit: scale, wavelength, band, obstruction, vanes, the camera's straight line.
/// Each is known to a standard uncertainty, and the images know something of it too.
/// </summary>
/// <remarks>
/// The fit does not follow what the images say of these, since much that does not fit looks like one of them. The part is therefore the second
/// moment about the stated value of what statement and images together leave: their variance, and the square of how far the images would move
/// it. Without the images' word a direction of fine modes that hardly changes them would get a bar that they exclude.
/// </remarks>
internal static class FixedInputs
{
    /// <summary>Adds a line for each, and what they share to the sum.</summary>
    public static void Add(UncertaintyParts parts, WavefrontRequest request, FitRun run, NuisanceFit beside, Team team)
    {
        var ways = new List<(string Source, string Input, float[][][] Way)>();
        foreach ((string source, string input, Func<PairOptics, PairOptics> change) in Stated(request))
        {
            PairModel[] others = [.. run.Models.Select((m, p) => new PairModel(change(m.Optics), run.Modes,
                run.Fit.States[p].DefocusNm.Max(Math.Abs), team))];
            ways.Add((source, input, run.Fit.Derivatives.Difference(others)));
            foreach (PairModel other in others)
            {
                other.Dispose();
            }
        }

        double linearity = request.KnownTo.Linearity;
        if (linearity > 0)
        {
            ways.Add(("linearity of the camera", $"{100 * linearity:G2} % at the brightest pixel", run.Fit.Derivatives.OverNoise((p, k) => Bent(run, p, k, linearity))));
        }

        if (ways.Count == 0)
        {
            return;
        }

        (Matrix<double> normal, Vector<double> side, Matrix<double> answers) =
            run.Fit.Derivatives.Towards([.. ways.Select(w => w.Way)], beside.Whole, beside.Beside);
        Matrix<double> left = Left(normal / beside.Inflation, side / beside.Inflation);
        Matrix<double> modes = answers.SubMatrix(0, parts.Coefficients.Length, 0, ways.Count);
        Matrix<double> together = modes * left * modes.Transpose();
        for (int w = 0; w < ways.Count; w++)
        {
            Vector<double> v = modes.Column(w);
            Matrix<double> part = v.ToColumnMatrix() * v.ToRowMatrix() * left[w, w];
            parts.AddCommon(ways[w].Source, "B", $"{ways[w].Input}, of which the images leave {100 * Math.Sqrt(left[w, w]):F0} %", part);
            together -= part;
        }

        parts.AddShared(together);
    }

    /// <summary>
    /// Second moments about the stated values, in units of their standard uncertainties, after the images have spoken.
    /// </summary>
    /// <param name="information">What the images say: the inverse of their covariance.</param>
    /// <param name="side">That times where they see the values.</param>
    public static Matrix<double> Left(Matrix<double> information, Vector<double> side)
    {
        Matrix<double> covariance = (information + Matrix<double>.Build.DenseIdentity(side.Count)).Inverse();
        Vector<double> mean = covariance * side;
        return covariance + (mean.ToColumnMatrix() * mean.ToRowMatrix());
    }

    // What a bent response adds at each pixel: the share at the brightest one, less where there is less light.
    private static float[] Bent(FitRun run, int p, int k, double share)
    {
        float[] light = run.Fit.ModelElectrons(p, k);
        double brightest = Math.Max(1, light.Max());
        return [.. light.Select(v => (float)(share * v * v / brightest))];
    }

    private static IEnumerable<(string Source, string Input, Func<PairOptics, PairOptics> Change)> Stated(WavefrontRequest request)
    {
        KnownTo known = request.KnownTo;
        if (known.Scale > 0)
        {
            yield return ("image scale (focal length, aperture, pitch)", $"{100 * known.Scale:G2} %", o => o with { PitchUm = o.PitchUm * (1 + known.Scale) });
        }

        if (known.Wavelength > 0)
        {
            yield return ("wavelength", $"{100 * known.Wavelength:G2} %",
                o => o with { WavelengthsNm = [.. o.WavelengthsNm.Select(l => l * (1 + known.Wavelength))] });
        }

        if (known.VaneWidth > 0 && request.Pupil.Vanes.Count > 0)
        {
            yield return ("width of the vanes", $"{100 * known.VaneWidth:G2} %",
                o => o with
                {
                    Shape = o.Shape with
                    {
                        Vanes =
                    [.. o.Shape.Vanes.Select(v => v with { WidthFraction = Math.Min(0.24, v.WidthFraction * (1 + known.VaneWidth)) })]
                    }
                });
        }

        if (known.Band > 0 && request.WavelengthsNm.Length > 1)
        {
            yield return ("shares of the light in the band", $"{100 * known.Band:G2} % from end to middle", o => o with { Weights = Tilted(o, known.Band) });
        }

        if (known.Obstruction > 0 && request.Pupil.Obstruction > 0)
        {
            yield return ("central obstruction", $"{100 * known.Obstruction:G2} % of the ratio",
                o => o with { Shape = o.Shape with { Obstruction = Math.Min(0.94, o.Shape.Obstruction * (1 + known.Obstruction)) } });
        }
    }

    // Shares that rise from one end of the band to the other.
    private static double[] Tilted(PairOptics o, double by)
    {
        double middle = o.MeanWavelengthNm;
        double reach = Math.Max(o.WavelengthsNm.Max(l => Math.Abs(l - middle)), 1e-9);
        double[] tilted = [.. o.Weights.Select((w, l) => w * (1 + (by * (o.WavelengthsNm[l] - middle) / reach)))];
        double sum = tilted.Sum();
        return [.. tilted.Select(w => w / sum)];
    }
}
