namespace StarAssay.Engine.Stars;

/// <summary>What was measured on one star; frame pixels and ADU.</summary>
internal struct StarRecord
{
    public double X, Y, XError, YError;
    public double Flux, FluxError, Peak, Sky, Noise, Snr;
    public double Hfr, HfrRecorded, HfrError, LightSlope;
    public double Cxx, Cxy, Cyy, ShapeFlux;
    public double Fwhm, FwhmError, FwhmShared, Beta;
    public double ProfileFwhm, ProfileFwhmError;
    public double Sharpness, TopOffset, SharpnessError;
    public double Alpha;
    public double Widening;

    /// <summary>Variance of the sky at the star's scale over that of its pixels' noise; 1 where it has no structure.</summary>
    public double Rough;

    public StarMarks Marks;
    public (double Excess, double Light, double Sky) Left;
}
