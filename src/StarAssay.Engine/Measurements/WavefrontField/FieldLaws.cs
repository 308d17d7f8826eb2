using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>The laws of all modes over the field, from the stars' own wavefronts.</summary>
internal sealed class FieldLaws
{
    private FieldLaws(double[] u, double[] v, FieldLaw focus, FieldLaw travel, FieldLaw coma, FieldLaw astigmatism, FieldLaw spherical, FieldLaw trefoil)
    {
        (U, V, Focus, Travel, Coma, Astigmatism, Spherical, Trefoil) = (u, v, focus, travel, coma, astigmatism, spherical, trefoil);
    }

    /// <summary>Place of each star from the sensor's middle over half its diagonal.</summary>
    public double[] U { get; }

    /// <summary>The same upwards.</summary>
    public double[] V { get; }

    /// <summary>Sensor position of best focus less the mean of both frames' positions, um.</summary>
    public FieldLaw Focus { get; }

    /// <summary>Way between the frames, um, a plane.</summary>
    public FieldLaw Travel { get; }

    /// <summary>Noll 8 and 7, nm.</summary>
    public FieldLaw Coma { get; }

    /// <summary>Noll 6 and 5, nm.</summary>
    public FieldLaw Astigmatism { get; }

    /// <summary>Noll 11, nm.</summary>
    public FieldLaw Spherical { get; }

    /// <summary>Noll 10 and 9, nm.</summary>
    public FieldLaw Trefoil { get; }

    /// <summary>Fits all laws.</summary>
    /// <param name="request">Sensor.</param>
    /// <param name="stars">Places.</param>
    /// <param name="fits">Wavefronts.</param>
    public static FieldLaws Of(WavefrontFieldRequest request, PairStar[] stars, StarWavefront[] fits)
    {
        var area = new SensorArea(request.Frames[0].Width, request.Frames[0].Height);
        double[] u = [.. stars.Select(s => area.U(s.X.Average()))];
        double[] v = [.. stars.Select(s => area.V(s.Y.Average()))];
        FieldLaw Law(Func<StarWavefront, double[]> value, Func<StarWavefront, double[]> variance, Func<double, double, double[,]> row) =>
            FieldLaw.Of([.. fits.Select((f, i) => new StarValue(value(f), variance(f), row(u[i], v[i])))]);
        FieldLaw Modes(int[] noll, Func<double, double, double[,]> row) =>
            Law(f => [.. noll.Select(j => f.CoefficientNm[j - 5])], f => [.. noll.Select(j => f.Variance[j - 5])], row);
        return new FieldLaws(u, v,
            Law(f => [-f.Middle], f => [f.FocusVariance], FieldTerms.Focus),
            Law(f => [f.Travel], f => [f.TravelVariance], FieldTerms.Plane),
            Modes([8, 7], FieldTerms.Coma),
            Modes([6, 5], FieldTerms.Astigmatism),
            Modes([11], (_, _) => FieldTerms.Constant()),
            Modes([10, 9], (_, _) => FieldTerms.ConstantPair()));
    }

    /// <summary>Squared RMS of the modes from Noll 5 to 11 at a place, nm^2.</summary>
    public static double SquareAt(double u, double v, double[] coma, double[] astigmatism, double[] spherical, double[] trefoil)
    {
        static double Sum(double[] values) => values.Sum(a => a * a);
        return Sum(FieldTerms.At(FieldTerms.Coma(u, v), coma)) + Sum(FieldTerms.At(FieldTerms.Astigmatism(u, v), astigmatism)) + Sum(spherical)
            + Sum(trefoil);
    }
}
