using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Simulation;

/// <summary>Illumination over the sensor, tabulated by distance from the axis so that 60 million pixels cost little.</summary>
/// <remarks>8192 steps in radius; where a stop begins to cut, the curve has a square-root start and the straight line
/// between two steps is off by less than 1e-4.</remarks>
internal sealed class IlluminationTable
{
    private const int Steps = 8192;
    private readonly double[] values = new double[Steps + 2];
    private readonly double perMm;
    private readonly double pitchMm;
    private readonly double middleX;
    private readonly double middleY;

    public IlluminationTable(SimulatedTelescope telescope, DetectorResponse detector)
    {
        pitchMm = detector.PitchUm / 1000;
        middleX = ((detector.Width - 1) / 2.0) + (telescope.Field.AxisXMm / pitchMm);
        middleY = ((detector.Height - 1) / 2.0) + (telescope.Field.AxisYMm / pitchMm);
        double farX = Math.Max(Math.Abs(middleX), Math.Abs(detector.Width - 1 - middleX));
        double farY = Math.Max(Math.Abs(middleY), Math.Abs(detector.Height - 1 - middleY));
        double reach = Math.Max(1e-6, Math.Sqrt((farX * farX) + (farY * farY)) * pitchMm);
        perMm = Steps / reach;
        for (int k = 0; k < values.Length; k++)
        {
            values[k] = telescope.Illumination(k / perMm);
        }
    }

    /// <summary>Share of the light at a pixel against the optical axis.</summary>
    public double At(int x, int y)
    {
        double dx = x - middleX;
        double dy = y - middleY;
        double place = Math.Sqrt((dx * dx) + (dy * dy)) * pitchMm * perMm;
        int low = Math.Min((int)place, Steps);
        return values[low] + ((place - low) * (values[low + 1] - values[low]));
    }
}
