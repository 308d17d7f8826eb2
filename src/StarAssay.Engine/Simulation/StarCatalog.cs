namespace StarAssay.Engine.Simulation;

/// <summary>Random stars: even over the frame, numbers by a power law in brightness.</summary>
internal static class StarCatalog
{
    private const int Tries = 200;

    /// <summary>The request's own stars, or random ones.</summary>
    public static (double[] X, double[] Y, double[] Rate) Of(StarFieldRequest request)
    {
        if (request.X.Count > 0)
        {
            return ([.. request.X], [.. request.Y], [.. request.ElectronRates]);
        }

        var x = new List<double>();
        var y = new List<double>();
        var rate = new List<double>();
        var random = new SeededRandom(request.StarSeed, 3);
        double low = Math.Pow(request.FaintestRate / request.BrightestRate, request.CountSlope);
        double apart = request.SeparationPix * request.SeparationPix;
        for (int k = 0; k < request.RandomStars; k++)
        {
            for (int attempt = 0; attempt < Tries; attempt++)
            {
                double px = (random.NextUniform() * request.Detector.Width) - 0.5;
                double py = (random.NextUniform() * request.Detector.Height) - 0.5;
                if (apart > 0 && TooClose(x, y, px, py, apart))
                {
                    continue;
                }

                // Share u of the stars is brighter than F: (F / faintest)^-slope = u, cut at the brightest.
                double u = low + ((1 - low) * random.NextUniform());
                x.Add(px);
                y.Add(py);
                rate.Add(request.FaintestRate * Math.Pow(u, -1 / request.CountSlope));
                break;
            }
        }

        return ([.. x], [.. y], [.. rate]);
    }

    private static bool TooClose(List<double> x, List<double> y, double px, double py, double apart)
    {
        for (int i = 0; i < x.Count; i++)
        {
            double dx = x[i] - px;
            double dy = y[i] - py;
            if ((dx * dx) + (dy * dy) < apart)
            {
                return true;
            }
        }

        return false;
    }
}
