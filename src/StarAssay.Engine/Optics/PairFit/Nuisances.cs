using System.Numerics.Tensors;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>What changes the images a little and is no part of the model.</summary>
internal enum Nuisance
{
    /// <summary>The response (flat field, dust, vignetting) differs from one edge of the disc to the other.</summary>
    Response,

    /// <summary>Guiding, wind or the air's dispersion blur more in one direction.</summary>
    Trail,

    /// <summary>The sky is brighter on one side.</summary>
    Sky,

    /// <summary>The shadow of the secondary does not stand in the middle: offset in a fast Newtonian, or a star off axis.</summary>
    Shadow,
}

/// <summary>How large they usually are: standard uncertainties; 0 = not there.</summary>
/// <param name="Response">Difference of the response between the edges of the disc, of the response.</param>
/// <param name="TrailPx">RMS of the blur along one direction beyond that across, pixels.</param>
/// <param name="Sky">Difference of the sky between the edges of the window, of the star's mean level.</param>
/// <param name="Shadow">Place of the central obstruction along each axis, from where it is stated, radii of the pupil.</param>
internal sealed record NuisanceSizes(double Response, double[] TrailPx, double Sky, double Shadow)
{
    /// <summary>The usual size of one in a pair.</summary>
    public double Of(Nuisance kind, int pair) => kind switch
    {
        Nuisance.Response => Response,
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
/// Response and shadow are shared by all images, since the star keeps its place on the sensor; a slope of the response is what looks
/// most like coma. The blur along a direction and the slope of the sky are each image's own: half the difference of the variances along x and y
/// and the covariance of x and y, square pixels. What is found of it goes into the model's own <see cref="Trail"/>, so that a long one is no
/// straight step.
/// </remarks>
internal sealed class Nuisances : IBeside
{
    // Of the pupil's radius: far below a pixel of the disc, and far above what single precision makes of it.
    private const double ShadowStep = 0.01;

    // Square pixels; the same.
    private const double TrailStep = 0.05;

    // Below it a hole hardly shows.
    private const double LeastObstruction = 0.05;

    private readonly List<(Nuisance Kind, double Size, int Pair, int Image, int Part)> parameters = [];
    private readonly List<(float[] Image, int At)>[][] images;

    /// <summary>Draws them at a fit's present state.</summary>
    public Nuisances(JointFit fit, NuisanceSizes sizes)
    {
        images = [.. fit.Models.Select(_ => new List<(float[], int)>[] { [], [] })];
        int[] shared = [Add(Nuisance.Response, 0, 0, 0, sizes), Add(Nuisance.Response, 0, 0, 1, sizes)];
        int[] moved = [-1, -1];
        for (int p = 0; p < fit.Models.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                var scene = new Scene(fit, p, k);
                Draw(p, k, shared[0], i => scene.Light[i] * scene.AlongX(i));
                Draw(p, k, shared[1], i => scene.Light[i] * scene.AlongY(i));
                Draw(p, k, Add(Nuisance.Sky, p, k, 0, sizes), i => scene.Level * scene.AcrossX(i));
                Draw(p, k, Add(Nuisance.Sky, p, k, 1, sizes), i => scene.Level * scene.AcrossY(i));
            }

            if (sizes.TrailPx[p] > 0)
            {
                DrawTrails(fit, p, sizes);
            }

            if (sizes.Shadow > 0 && fit.Models[p].Optics.Shape.Obstruction > LeastObstruction)
            {
                moved[0] = moved[0] < 0 ? Add(Nuisance.Shadow, p, 0, 0, sizes) : moved[0];
                moved[1] = moved[1] < 0 ? Add(Nuisance.Shadow, p, 0, 1, sizes) : moved[1];
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

    /// <summary>What the model already has of each: its trails, and nothing of the others.</summary>
    public double[] Within(PairState[] states) => [.. parameters.Select(p => p.Kind != Nuisance.Trail ? 0
        : p.Part == 0 ? states[p.Pair].Trails[p.Image].Difference : states[p.Pair].Trails[p.Image].Mixed)];

    /// <summary>States whose trails have grown by these values; the model blurs with trails, however long they are.</summary>
    public PairState[] Trailed(PairState[] states, IReadOnlyList<double> values)
    {
        PairState[] trailed = [.. states.Select(s => s.Copy())];
        foreach (((Nuisance kind, _, int pair, int image, int part), double value) in parameters.Zip(values))
        {
            if (kind == Nuisance.Trail)
            {
                Trail t = trailed[pair].Trails[image];
                trailed[pair].Trails[image] = part == 0 ? t with { Difference = t.Difference + value } : t with { Mixed = t.Mixed + value };
            }
        }

        return trailed;
    }

    /// <summary>Takes all but trails off the data, or puts them back with the opposite sign.</summary>
    public void TakeOff(PairData[] data, ReadOnlySpan<double> values)
    {
        for (int p = 0; p < data.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                foreach ((float[] image, int at) in images[p][k].Where(i => parameters[i.At].Kind != Nuisance.Trail))
                {
                    TensorPrimitives.MultiplyAdd(image, (float)-values[at], data[p].Electrons[k], data[p].Electrons[k]);
                }
            }
        }
    }

    // Both images at once; the model ends where it was.
    private void DrawTrails(JointFit fit, int p, NuisanceSizes sizes)
    {
        PairModel model = fit.Models[p];
        PairState state = fit.States[p];
        float[][] along = Drawn(t => t with { Difference = t.Difference + TrailStep }), aslant = Drawn(t => t with { Mixed = t.Mixed + TrailStep });
        model.Evaluate(state);
        for (int k = 0; k < 2; k++)
        {
            foreach ((float[] trailed, int part) in new[] { (along[k], 0), (aslant[k], 1) })
            {
                float[] image = model.Memory.Floats(trailed.Length, clear: false);
                TensorPrimitives.Subtract(trailed, model.Pixels.Part(k), image);
                TensorPrimitives.Multiply(image, (float)(state.Flux[k] / TrailStep), image);
                images[p][k].Add((image, Add(Nuisance.Trail, p, k, part, sizes)));
            }
        }

        float[][] Drawn(Func<Trail, Trail> longer)
        {
            model.Evaluate(state with { Trails = [.. state.Trails.Select(longer)] });
            return [model.Pixels.Part(0).ToArray(), model.Pixels.Part(1).ToArray()];
        }
    }

    private void DrawShadow(JointFit fit, int p, int at, Func<PupilShape, PupilShape> move)
    {
        PairModel model = fit.Models[p];
        PairState state = fit.States[p];
        using var other = new PairModel(model.Optics with { Shape = move(model.Optics.Shape) }, model.Modes, model.LargestDefocusNm, model.Team);
        other.Evaluate(state);
        for (int k = 0; k < 2; k++)
        {
            float[] image = model.Memory.Floats(fit.Weights[p][k].Length, clear: false);
            TensorPrimitives.Subtract(other.Pixels.Part(k), model.Pixels.Part(k), image);
            TensorPrimitives.Multiply(image, (float)(state.Flux[k] / ShadowStep), image);
            images[p][k].Add((image, at));
        }
    }

    private int Add(Nuisance kind, int pair, int image, int part, NuisanceSizes sizes)
    {
        double size = sizes.Of(kind, pair);
        if (!(size > 0))
        {
            return -1;
        }

        parameters.Add((kind, size, pair, image, part));
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
        }

        public float[] Light { get; }

        public double Level { get; }

        public double AlongX(int i) => ((i % window) - middleX) / disc;

        public double AlongY(int i) => ((i / window) - middleY) / disc;

        public double AcrossX(int i) => ((double)(i % window) / window) - 0.5;

        public double AcrossY(int i) => ((double)(i / window) / window) - 0.5;
    }
}
