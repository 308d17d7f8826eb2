using System.Text.Json.Serialization;

namespace StarAssay.Bridge;

/// <summary>What Python says of an array it hands over; the buffer protocol's own FORMAT is never asked for.</summary>
internal sealed record ArraySpec
{
    /// <summary>Name under which the task asks for it.</summary>
    public required string Name { get; init; }

    /// <summary>NumPy kind and size, for example "u2", "i4", "f8", "b1".</summary>
    public required string Dtype { get; init; }

    /// <summary>True when the bytes are in FITS order.</summary>
    public bool BigEndian { get; init; }

    /// <summary>Sizes, slowest axis first (NumPy's order).</summary>
    public required IReadOnlyList<long> Shape { get; init; }

    /// <summary>True when the engine may write into it.</summary>
    public bool Writable { get; init; }

    /// <summary>Set when the array is the pixels of a frame.</summary>
    public FrameSpec? Frame { get; init; }

    [JsonIgnore]
    public long Count => Shape.Aggregate(1L, (a, b) => a * b);
}

/// <summary>What Python knows of a frame besides its pixels.</summary>
internal sealed record FrameSpec
{
    public string Label { get; init; } = "";

    public double Scale { get; init; } = 1;

    public double Zero { get; init; }

    public long? Blank { get; init; }

    /// <summary>Name of the array that holds the mask, or null.</summary>
    public string? Mask { get; init; }

    public double SaturationAdu { get; init; } = double.NaN;

    public double GainElectronsPerAdu { get; init; } = double.NaN;

    public double ReadNoiseElectrons { get; init; } = double.NaN;

    public double PitchUm { get; init; } = double.NaN;

    public double ExposureS { get; init; } = double.NaN;
}
