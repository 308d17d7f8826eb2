using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Profiles of the second order under the first, predicted for every frame of a focus run from what the first order at half the
/// wavelength has shown: light, best focus, seeing.</summary>
internal sealed class SecondOrderRemoval
{
    // The prediction's own error beside that of the ratio: blur of the lines, efficiency that changes along the order. Found on
    // simulated runs, where the ratio came out up to a sixth off and the profile far from focus by more.
    private const double ModelError = 0.25;
    private readonly Dictionary<(int Frame, int Bin), double[]> profiles = [];

    private SecondOrderRemoval(int[] bins, double relativeError)
    {
        Bins = bins;
        RelativeError = relativeError;
    }

    /// <summary>Bins that can be measured once the second order is taken off.</summary>
    public int[] Bins { get; }

    /// <summary>Standard uncertainty of the amount, a ratio.</summary>
    public double RelativeError { get; }

    /// <summary>Times what was found: to see what an error of the amount does.</summary>
    public double Amount { get; init; } = 1;

    public SecondOrderRemoval Times(double amount)
    {
        var other = new SecondOrderRemoval(Bins, RelativeError) { Amount = amount };
        foreach (KeyValuePair<(int Frame, int Bin), double[]> pair in profiles)
        {
            other.profiles.Add(pair.Key, [.. pair.Value.Select(v => v * amount / Amount)]);
        }

        return other;
    }

    /// <summary>What is to be taken from a profile, ADU; null where nothing is.</summary>
    public double[]? Profile(int frame, int bin) => profiles.GetValueOrDefault((frame, bin));

    /// <summary>Predicts, or gives null where the geometry or the lines do not allow it.</summary>
    /// <param name="input">Reduced run.</param>
    /// <param name="request">With the grating.</param>
    /// <param name="bins">Bins fitted so far.</param>
    /// <param name="x">Their fit: log seeing of each frame, then focus of each bin; seeing exponent and blur last.</param>
    public static SecondOrderRemoval? Predict(ColorFocusInput input, ColorFocusRequest request, int[] bins, double[] x)
    {
        int[] wanted = [.. Enumerable.Range(0, input.Bins).Where(j => input.Removable[j])];
        Func<double, double>? shortening = request.Disperser == Disperser.ParallelGrating || request.ReferenceCurveWavelengthNm.Length > 1 ? _ => 0
            : double.IsFinite(request.GratingLinesPerMm) && double.IsFinite(request.GratingDistanceMm)
                ? new Grating(request.GratingLinesPerMm, request.GratingDistanceMm).SagittalShorteningUm : null;
        if (wanted.Length == 0 || input.Order is null || shortening is null)
        {
            return null;
        }

        double[] nm = [.. bins.Select(j => input.Nm[j])];
        double[] focus = x[input.Frames..(input.Frames + bins.Length)];
        ProfileGrid[] grids = input.Grids();
        var removal = new SecondOrderRemoval([.. wanted.Where(j => input.Nm[j] / 2 >= nm.Min())],
            Math.Sqrt(Math.Pow(input.Order.Error / input.Order.Ratio, 2) + (ModelError * ModelError)));
        foreach (int j in removal.Bins)
        {
            double half = input.Nm[j] / 2;
            // The order leaves the grating under the angle of the color it lies on, and its focus is shortened by that angle.
            double at = LinearTable.At(nm, focus, half) + shortening(half) - shortening(input.Nm[j]);
            for (int i = 0; i < input.Frames; i++)
            {
                ReducedSpectrum s = input.Spectra[i];
                int rows = s.Profile.GetLength(1);
                var model = new ProfileModel(grids[i], DefocusTransfer.For(request.Obstruction), half, request.FocalRatio, input.PitchUm,
                    s.SubpixelVariance[j]);
                double[] p = new double[rows], unused = new double[rows];
                model.Evaluate(request.PositionsUm[i] - at, Math.Exp(x[i] + (x[^2] * Math.Log(half / 550))), x[^1], s.SubpixelMean[j], model.NewWork(), p,
                    unused, unused, unused, unused);
                double light = input.Order.Ratio * input.Order.Light(s, i, j);
                removal.profiles.Add((i, j), [.. p.Select(v => v * light)]);
            }
        }

        return removal.Bins.Length > 0 ? removal : null;
    }

    /// <summary>Tells what was done.</summary>
    public void Say(ColorFocusInput input)
    {
        int middle = input.Frames / 2;
        double most = Bins.Max(j => input.Order!.Share(input.Spectra[middle], middle, j));
        input.Notes.RemoveAll(n => n.Code == ColorFocusNotes.SecondOrder.Code);
        input.Notes.Add(ColorFocusNotes.SecondOrderRemoved.Say(
            $"From {Bins.Min(j => input.Nm[j]):0} nm on, the second order ({100 * input.Order!.Ratio:0} +- {100 * input.Order.Error:0} % of the first's " +
                $"efficiency, from its lines) makes up to {100 * most:0} % of the light. It was predicted from the first order at half the wavelength and " +
                $"taken from the profiles of {Bins.Length} bins; an error of {100 * RelativeError:0} % of its amount is in theirs."));
    }
}
