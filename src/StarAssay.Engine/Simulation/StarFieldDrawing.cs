using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Simulation;

/// <summary>Draws a star field: images on a grid of field points, every star blended and shifted to its place, then exposed.</summary>
public static class StarFieldDrawing
{
    /// <summary>Share of the light that a stamp should hold at least.</summary>
    internal const double LeastShare = 0.97;

    private const int Batch = 256;

    /// <summary>Draws and exposes.</summary>
    /// <param name="request">What is drawn.</param>
    /// <param name="adu">Receives the numbers the camera writes, rows from the lowest y.</param>
    /// <param name="context">Threads, progress, cancellation.</param>
    public static StarFieldTruth Draw(StarFieldRequest request, Memory<ushort> adu, RunContext context)
    {
        request.RequireValid();
        float[] expected = new float[request.Detector.Width * request.Detector.Height];
        StarFieldTruth truth = DrawExpected(request, expected, context);
        context.Report(0.9, "exposing");
        Exposure.Expose(expected, request.Detector, request.ExposureS, request.Seed, request.CosmicRays, adu, context);
        return truth;
    }

    /// <summary>Draws the expected electrons of light, without dark current or noise.</summary>
    /// <param name="request">What is drawn.</param>
    /// <param name="expected">Receives electrons a pixel.</param>
    /// <param name="context">Threads, progress, cancellation.</param>
    public static StarFieldTruth DrawExpected(StarFieldRequest request, Memory<float> expected, RunContext context)
    {
        request.RequireValid();
        DetectorResponse detector = request.Detector;
        if (expected.Length != detector.Width * detector.Height)
        {
            throw new InputException("simulation.size", $"The frame has {expected.Length} pixels, the detector {detector.Width} x {detector.Height}. Make " +
                "the array as large as the detector.", "image");
        }

        DrawBackground(request, expected, context);
        (double[] idealX, double[] idealY, double[] rate) = StarCatalog.Of(request);
        int stars = rate.Length;
        double[] x = new double[stars];
        double[] y = new double[stars];
        double[] centroidX = new double[stars];
        double[] centroidY = new double[stars];
        double[] electrons = new double[stars];
        double[] defocus = new double[stars];
        double[] halfFlux = new double[stars];
        double[] illumination = new double[stars];
        double share = 1;
        int largest = 0;
        double wavelength = double.NaN;
        double defocusStep = 0;
        int halfCut = 0;

        // In a mosaic each color is drawn into its own pixels; without one the first passband serves them all.
        IReadOnlyList<SimulatedPassband> bands = detector.Mosaic.Length == 0 ? [request.Passbands[0]]
            : [.. request.Passbands.Where(b => b.Color.Length == 1 && detector.Mosaic.Contains(b.Color[0], StringComparison.Ordinal))];
        for (int b = 0; b < bands.Count; b++)
        {
            IReadOnlyList<SpectralSample> spectrum = bands[b].Spectrum(request.Telescope, request.Sky, detector);
            double mean = SimulatedPassband.MeanWavelengthNm(spectrum);
            int size = request.StampPix > 0 ? request.StampPix : StampPix(request, spectrum);
            FieldImages images = FieldImages.Compute(request, spectrum, size, context, 0.8 * b / bands.Count, 0.8 * (b + 1) / bands.Count);
            share = Math.Min(share, images.Share);
            largest = Math.Max(largest, size);
            defocusStep = Math.Max(defocusStep, Defocus.WavefrontNm(images.DefocusStepUm, request.Telescope.FocalRatio) / mean);
            double[] light = new double[stars];
            double[] placeX = new double[stars];
            double[] placeY = new double[stars];
            double reference = request.Telescope.ScaleAt(mean);
            for (int s = 0; s < stars; s++)
            {
                (double xMm, double yMm) = FieldImages.Millimetres(detector, idealX[s], idealY[s]);
                (double px, double py) = request.Telescope.Field.Distort(xMm, yMm, reference);
                placeX[s] = (px * 1000 / detector.PitchUm) + ((detector.Width - 1) / 2.0);
                placeY[s] = (py * 1000 / detector.PitchUm) + ((detector.Height - 1) / 2.0);
                double hx = px - request.Telescope.Field.AxisXMm;
                double hy = py - request.Telescope.Field.AxisYMm;
                double open = request.Telescope.Illumination(Math.Sqrt((hx * hx) + (hy * hy)));
                light[s] = rate[s] * request.ExposureS * bands[b].FluxShare * open;
                if (b == 0)
                {
                    (x[s], y[s], illumination[s]) = (placeX[s], placeY[s], open);
                    defocus[s] = request.Telescope.Field.DefocusUm(request.FocusPositionUm, px, py);
                    (halfFlux[s], double cx, double cy) = images.Facts(placeX[s], placeY[s]);
                    (centroidX[s], centroidY[s]) = (placeX[s] + cx, placeY[s] + cy);
                    electrons[s] = light[s];
                    halfCut += request.Telescope.IsHalfCut(Math.Sqrt((hx * hx) + (hy * hy))) ? 1 : 0;
                    wavelength = mean;
                }
            }

            AddStars(images, detector, bands[b].Color, placeX, placeY, light, expected, context);
        }

        return new StarFieldTruth(
            idealX, idealY, x, y, centroidX, centroidY, electrons, defocus, halfFlux, illumination, share, largest, wavelength, detector.SaturationAdu,
            NotesFor(share, defocusStep, halfCut));
    }

    private static List<Note> NotesFor(double share, double defocusStepWaves, int halfCut)
    {
        var notes = new List<Note>();
        if (share < LeastShare)
        {
            notes.Add(SimulationNotes.LightOutside.Say($"Stamps hold {share:P1} of a star's light. Ask for a larger stamp."));
        }

        if (defocusStepWaves > 0.5)
        {
            notes.Add(SimulationNotes.CoarseGrid.Say($"Computed images lie up to {defocusStepWaves:F2} waves of defocus apart. Ask for more nodes."));
        }

        if (halfCut > 0)
        {
            notes.Add(SimulationNotes.HalfCut.Say($"{halfCut} stars lie where a stop cuts the pupil past its middle; their shape is not to be trusted."));
        }

        return notes;
    }

    /// <summary>Stamps drawn in parallel, added one after the other: the sums come out the same for any number of threads.</summary>
    private static void AddStars(
        FieldImages images, DetectorResponse detector, string color, double[] x, double[] y, double[] light, Memory<float> expected, RunContext context)
    {
        int size = images.Size;
        float[][] stamps = new float[Batch][];
        for (int first = 0; first < x.Length; first += Batch)
        {
            int count = Math.Min(Batch, x.Length - first);
            Parallel.For(0, count, context.Parallel, k => stamps[k] = images.Draw(x[first + k], y[first + k]));
            Span<float> to = expected.Span;
            for (int k = 0; k < count; k++)
            {
                int left = (int)Math.Round(x[first + k]) - (size / 2);
                int low = (int)Math.Round(y[first + k]) - (size / 2);
                float scale = (float)light[first + k];
                for (int j = Math.Max(0, -low); j < Math.Min(size, detector.Height - low); j++)
                {
                    int py = low + j;
                    for (int i = Math.Max(0, -left); i < Math.Min(size, detector.Width - left); i++)
                    {
                        int px = left + i;
                        if (color.Length == 0 || detector.Mosaic.Length == 0 || detector.ColorAt(px, py) == color[0])
                        {
                            // Interpolation may dip a hair below zero in the far wings.
                            to[(py * detector.Width) + px] += Math.Max(0, scale * stamps[k][(j * size) + i]);
                        }
                    }
                }
            }
        }
    }

    private static void DrawBackground(StarFieldRequest request, Memory<float> expected, RunContext context)
    {
        DetectorResponse detector = request.Detector;
        double level = request.Sky.BackgroundElectronsPerS * request.ExposureS;
        if (level == 0)
        {
            expected.Span.Clear();
            return;
        }

        var illumination = new IlluminationTable(request.Telescope, detector);
        Parallel.For(0, detector.Height, context.Parallel, y =>
        {
            Span<float> row = expected.Span.Slice(y * detector.Width, detector.Width);
            double v = ((double)y / Math.Max(1, detector.Height - 1)) - 0.5;
            for (int x = 0; x < detector.Width; x++)
            {
                double u = ((double)x / Math.Max(1, detector.Width - 1)) - 0.5;
                double slope = 1 + (request.Sky.GradientX * u) + (request.Sky.GradientY * v);
                row[x] = (float)(Math.Max(0, level * slope) * illumination.At(x, y));
            }
        });
    }

    /// <summary>Stamp width: the widest blur disc of the field and six seeing widths on either side.</summary>
    private static int StampPix(StarFieldRequest request, IReadOnlyList<SpectralSample> spectrum)
    {
        DetectorResponse detector = request.Detector;
        double worst = 0;
        foreach ((double x, double y) in new[] { (0.0, 0.0), (1, 0), (0, 1), (1, 1), (0.5, 0.5) })
        {
            (double xMm, double yMm) = FieldImages.Millimetres(detector, x * (detector.Width - 1), y * (detector.Height - 1));
            double shift = request.Telescope.Field.DefocusUm(request.FocusPositionUm, xMm, yMm);
            worst = Math.Max(worst, spectrum.Max(s => Math.Abs(shift - s.FocusShiftUm)));
        }

        double disc = Defocus.BlurDiameter(worst, request.Telescope.FocalRatio) / detector.PitchUm;
        double seeing = request.Sky.SeeingFwhmArcsec / Seeing.ArcsecPerRadian * request.Telescope.FocalLengthMm * 1000 / detector.PitchUm;
        double trail = Math.Max(Math.Abs(request.Sky.DriftXArcsec), Math.Abs(request.Sky.DriftYArcsec)) / Seeing.ArcsecPerRadian
            * request.Telescope.FocalLengthMm * 1000 / detector.PitchUm;
        int wanted = (int)Math.Ceiling(disc + trail + (12 * seeing) + 16);
        return Math.Clamp(8 * ((wanted + 7) / 8), 48, 512);
    }
}
