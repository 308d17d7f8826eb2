namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>Sensor formats in common use, mm; sides of one name differ by some tenths between cameras (common practice, no source).</summary>
internal static class SensorFormats
{
    private static readonly (string Name, double Width, double Height)[] All =
    [
        ("36.8 x 36.8 mm", 36.8, 36.8), ("36 x 24 mm (full frame)", 36, 24), ("23.5 x 15.7 mm (APS-C)", 23.5, 15.7),
        ("17.3 x 13.0 mm (four thirds)", 17.3, 13.0), ("13.2 x 8.8 mm (one inch)", 13.2, 8.8), ("7.2 x 5.4 mm (1/1.8 inch)", 7.2, 5.4),
    ];

    /// <summary>Those that fit into a frame, largest first, laid along its longer side; the frame itself is the first.</summary>
    /// <param name="width">Of the frame, mm.</param>
    /// <param name="height">Of the frame, mm.</param>
    public static IReadOnlyList<(string Name, double Width, double Height)> Within(double width, double height)
    {
        // A camera of a format is some tenths of a millimetre smaller or larger than its name says.
        const double Slack = 1.01;
        var found = new List<(string, double, double)> { ("this frame", width, height) };
        foreach ((string name, double w, double h) in All)
        {
            (double across, double up) = width >= height ? (w, h) : (h, w);
            bool same = across > 0.97 * width && up > 0.97 * height;
            if (across <= Slack * width && up <= Slack * height && !same)
            {
                found.Add((name, across, up));
            }
        }

        return found;
    }
}
