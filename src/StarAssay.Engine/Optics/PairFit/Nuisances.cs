using System.Numerics.Tensors;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>What changes the images a little and is no part of the model.</summary>
internal enum Nuisance
{
    /// <summary>The response (flat field, dust, vignetting) differs from one edge of the disc to the other.</summary>
    Response,

    /// <summary>The camera's output is not proportional to the light.</summary>
    Linearity,

    /// <summary>Guiding, wind or the air's dispersion blur more in one direction.</summary>
    Trail,

    /// <summary>The sky is brighter on one side.</summary>
    Sky,

    /// <summary>The shadow of the secondary does not stand in the middle: offset in a fast Newtonian, or a star off axis.</summary>
    Shadow,
}

/// <summary>How large they usually are: standard uncertainties; 0 = not there.</summary>
/// <param name="Response">Difference of the response between the edges of the disc, of the response.</param>
/// <param name="Linearity">Departure from a straight line at the brightest pixel, of its value.</param>
/// <param name="TrailPx">RMS of the blur along one direction beyond that across, pixels.</param>
/// <param name="Sky">Difference of the sky between the edges of the window, of the star's mean level.</param>
/// <param name="Shadow">Place of the central obstruction along each axis, from where it is stated, radii of the pupil.</param>
internal sealed record NuisanceSizes(double Response, double Linearity, double[] TrailPx, double Sky, double Shadow)
{
    /// <summary>The usual size of one in a pair.</summary>
    public double Of(Nuisance kind, int pair) => kind switch
    {
        Nuisance.Response => Response,
        Nuisance.Linearity => Linearity,
        Nuisance.Trail => TrailPx[pair] * TrailPx[pair] / 2,
        Nuisance.Shadow => Shadow,
        _ => Sky,
    };
}

/// <summary>
/// Nuisance parameters beside the unknowns of a joint fit: images of what each adds to the model at the fit's present state. All are small, so
/// that the images change with them in a straight line.
/// </summary>
/// <remarks>
/// Response, linearity and shadow are shared by all images, since the star keeps its place on the sensor; a slope of the response is what looks
/// most like coma. The blur along a direction and the slope of the sky are each image's own: half the difference of the variances along x and y
/// and the covariance of x and y, square pixels, act through the image's second differences.
/// </remarks>
internal sealed class Nuisances
{
    // Of the pupil's radius: far below a pixel of the disc, and far above what single precision makes of it.
    private const double ShadowStep = 0.01;

    // Below it a hole hardly shows.
    private const double LeastObstruction = 0.05;

    private readonly List<(Nuisance Kind, double Size)> parameters = [];
    private readonly List<(float[] Image, int At)>[][] images;

    /// <summary>Draws them at a fit's present state.</summary>
    public Nuisances(JointFit fit, NuisanceSizes sizes)
    {
        images = [.. fit.Models.Select(_ => new List<(float[], int)>[] { [], [] })];
        int[] shared = [Add(Nuisance.Response, 0, sizes), Add(Nuisance.Response, 0, sizes), Add(Nuisance.Linearity, 0, sizes)];
        int[] moved = [-1, -1];
        for (int p = 0; p < fit.Models.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                var scene = new Scene(fit, p, k);
                Draw(p, k, shared[0], i => scene.Light[i] * scene.AlongX(i));
                Draw(p, k, shared[1], i => scene.Light[i] * scene.AlongY(i));
                Draw(p, k, shared[2], i => scene.Light[i] * scene.Light[i] / scene.Brightest);
                Draw(p, k, Add(Nuisance.Trail, p, sizes), i => 0.5 * (scene.SecondX(i) - scene.SecondY(i)));
                Draw(p, k, Add(Nuisance.Trail, p, sizes), i => scene.Mixed(i));
                Draw(p, k, Add(Nuisance.Sky, p, sizes), i => scene.Level * scene.AcrossX(i));
                Draw(p, k, Add(Nuisance.Sky, p, sizes), i => scene.Level * scene.AcrossY(i));
            }

            if (sizes.Shadow > 0 && fit.Models[p].Optics.Shape.Obstruction > LeastObstruction)
            {
                moved[0] = moved[0] < 0 ? Add(Nuisance.Shadow, p, sizes) : moved[0];
                moved[1] = moved[1] < 0 ? Add(Nuisance.Shadow, p, sizes) : moved[1];
                DrawShadow(fit, p, moved[0], s => s with { ObstructionX = s.ObstructionX + ShadowStep });
                DrawShadow(fit, p, moved[1], s => s with { ObstructionY = s.ObstructionY + ShadowStep });
            }

            void Draw(int pair, int k, int at, Func<int, double> value)
            {
                if (at >= 0)
                {
                    float[] image = fit.Models[pair].Memory.Floats(fit.Weights[pair][k].Length, clear: false);
                    for (int i = 0; i < image.Length; i++)
                    {
                        image[i] = (float)value(i);
                    }

                    images[pair][k].Add((image, at));
                }
            }
        }
    }

    /// <summary>How many.</summary>
    public int Count => parameters.Count;

    /// <summary>What each is.</summary>
    public IEnumerable<Nuisance> Kinds => parameters.Select(p => p.Kind);

    /// <summary>What one is.</summary>
    public Nuisance Kind(int parameter) => parameters[parameter].Kind;

    /// <summary>How large each usually is.</summary>
    public double Size(int parameter) => parameters[parameter].Size;

    /// <summary>What a unit of each adds to an image, electrons, and which it is.</summary>
    public IReadOnlyList<(float[] Image, int At)> In(int pair, int k) => images[pair][k];

    /// <summary>Takes them off the data, or puts them back with the opposite sign.</summary>
    public void TakeOff(PairData[] data, ReadOnlySpan<double> values)
    {
        for (int p = 0; p < data.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                foreach ((float[] image, int at) in images[p][k])
                {
                    TensorPrimitives.MultiplyAdd(image, (float)-values[at], data[p].Electrons[k], data[p].Electrons[k]);
                }
            }
        }
    }

    private void DrawShadow(JointFit fit, int p, int at, Func<PupilShape, PupilShape> move)
    {
        PairModel model = fit.Models[p];
        PairState state = fit.States[p];
        using var other = new PairModel(model.Optics with { Shape = move(model.Optics.Shape) }, model.Modes, state.DefocusNm.Max(Math.Abs), model.Team);
        other.Evaluate(state);
        for (int k = 0; k < 2; k++)
        {
            float[] image = model.Memory.Floats(fit.Weights[p][k].Length, clear: false);
            TensorPrimitives.Subtract(other.Pixels.Part(k), model.Pixels.Part(k), image);
            TensorPrimitives.Multiply(image, (float)(state.Flux[k] / ShadowStep), image);
            images[p][k].Add((image, at));
        }
    }

    private int Add(Nuisance kind, int pair, NuisanceSizes sizes)
    {
        double size = sizes.Of(kind, pair);
        if (!(size > 0))
        {
            return -1;
        }

        parameters.Add((kind, size));
        return parameters.Count - 1;
    }

    /// <summary>One image as the model draws it.</summary>
    private sealed class Scene
    {
        private readonly int window;
        private readonly double middleX;
        private readonly double middleY;
        private readonly double disc;

        public Scene(JointFit fit, int p, int k)
        {
            PairState s = fit.States[p];
            PairOptics optics = fit.Models[p].Optics;
            window = fit.Data[p].Window;
            disc = Math.Max(1, optics.BlurPixels(s.DefocusNm[k]));
            middleX = (window / 2) + (s.TiltXNm[k] * optics.PixelsPerTiltNm);
            middleY = (window / 2) + (s.TiltYNm[k] * optics.PixelsPerTiltNm);
            Level = s.Flux[k] / Math.Max(1, Math.PI / 4 * disc * disc);
            Light = fit.ModelElectrons(p, k);
            Brightest = Math.Max(1, TensorPrimitives.Max<float>(Light));
        }

        public float[] Light { get; }

        public double Level { get; }

        public double Brightest { get; }

        public double AlongX(int i) => ((i % window) - middleX) / disc;

        public double AlongY(int i) => ((i / window) - middleY) / disc;

        public double AcrossX(int i) => ((double)(i % window) / window) - 0.5;

        public double AcrossY(int i) => ((double)(i / window) / window) - 0.5;

        public double SecondX(int i) => Inside(i) ? Light[i - 1] - (2.0 * Light[i]) + Light[i + 1] : 0;

        public double SecondY(int i) => Inside(i) ? Light[i - window] - (2.0 * Light[i]) + Light[i + window] : 0;

        public double Mixed(int i) => Inside(i)
            ? 0.25 * ((double)Light[i - window - 1] + Light[i + window + 1] - Light[i - window + 1] - Light[i + window - 1])
            : 0;

        private bool Inside(int i) => i % window > 0 && i % window < window - 1 && i / window > 0 && i / window < window - 1;
    }
}
