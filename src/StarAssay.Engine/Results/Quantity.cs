namespace StarAssay.Engine.Results;

/// <summary>What a quantity depends on beside the telescope: two measurements of it are alike only where that is.</summary>
[Flags]
public enum DependsOn
{
    /// <summary>Nothing but the telescope, its wavelength and temperature.</summary>
    None = 0,

    /// <summary>The seeing while the frames were taken.</summary>
    Air = 1,

    /// <summary>The size of the sensor: it speaks of corners or edges.</summary>
    Format = 2,

    /// <summary>The night alone: it says nothing about the telescope.</summary>
    Night = 4,
}

/// <summary>A kind of number that a claim can be about.</summary>
/// <param name="Name">Its one name, for example "wavefront_rms".</param>
/// <param name="Label">Its name in sentences.</param>
/// <param name="Unit">Unit in Astropy's generic spelling; "" for a ratio.</param>
/// <param name="Low">Least value that it can have.</param>
/// <param name="High">Largest value that it can have.</param>
/// <param name="LargerIsBetter">Which way is better; null where neither is.</param>
/// <param name="Missing">What to do to get it, one sentence.</param>
public sealed record QuantityDefinition(string Name, string Label, string Unit, double Low, double High, bool? LargerIsBetter, string Missing)
{
    /// <summary>What it depends on beside the telescope.</summary>
    public DependsOn DependsOn { get; init; }

    /// <summary>What a user turns or shims to mend it, in a word or two: "the sensor's tilt"; empty where nothing that a user turns
    /// changes it; null where it depends on the telescope and on what was found.</summary>
    public string? MendedBy { get; init; }

    /// <summary>Which of the things that advice can be about mend it: "coma"; null where any may. An astigmatic telescope is no reason to hope
    /// that an adjustment flattens its field.</summary>
    public IReadOnlyList<string>? OnlyMendedBy { get; init; }

    /// <summary>A quantity of this kind.</summary>
    /// <param name="value">Value with its combined standard uncertainty, in <see cref="Unit"/>.</param>
    /// <param name="randomPart">What of the uncertainty averages out over more of what is counted; NaN = not known.</param>
    /// <param name="wavelengthNm">Where it holds; NaN where it depends on none.</param>
    public Quantity Of(Measured value, double randomPart = double.NaN, double wavelengthNm = double.NaN)
    {
        if (value.Unit != Unit)
        {
            throw new ArgumentException($"'{Name}' is in '{Unit}', not in '{value.Unit}'.", nameof(value));
        }

        double random = Math.Min(randomPart, value.Uncertainty);
        return new Quantity
        {
            Name = Name,
            Value = value,
            RandomPart = random,
            CommonPart = Math.Sqrt(Math.Max(0, (value.Uncertainty * value.Uncertainty) - (random * random))),
            WavelengthNm = wavelengthNm,
        };
    }
}

/// <summary>A number that a claim can be about, with what a decision must know of it.</summary>
public sealed record Quantity
{
    /// <summary>Name from the one list, <see cref="QuantityCatalog"/>.</summary>
    public required string Name { get; init; }

    /// <summary>Value with its combined standard uncertainty.</summary>
    public required Measured Value { get; init; }

    /// <summary>The part of the uncertainty that averages out over more of what is counted; NaN = not known. In the value's unit.</summary>
    public double RandomPart { get; init; } = double.NaN;

    /// <summary>The part that all of them share; NaN = not known. In the value's unit.</summary>
    public double CommonPart { get; init; } = double.NaN;

    /// <summary>By how much the true value may lie below the value besides its uncertainty: a bound, for what is left out in one
    /// direction only; 0 = nothing. In the value's unit.</summary>
    public double MayBeLess { get; init; }

    /// <summary>The same above the value.</summary>
    public double MayBeMore { get; init; }

    /// <summary>Degrees of freedom of the uncertainty.</summary>
    public double DegreesOfFreedom { get; init; } = double.PositiveInfinity;

    /// <summary>How many frames, pairs or spectra it rests on.</summary>
    public int Count { get; init; } = 1;

    /// <summary>What is counted, in the plural.</summary>
    public string Counted { get; init; } = "frames";

    /// <summary>Wavelength at which it holds; NaN where it depends on none.</summary>
    public double WavelengthNm { get; init; } = double.NaN;

    /// <summary>Reasons why it must not decide, each a sentence.</summary>
    public IReadOnlyList<string> Doubts { get; init; } = [];

    /// <summary>Its kind.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    public QuantityDefinition Definition => QuantityCatalog.Find(Name);
}

/// <summary>What every measurement's result offers beside its own numbers.</summary>
public interface IMeasurementResult
{
    /// <summary>Numbers that a claim can be about.</summary>
    IReadOnlyList<Quantity> Quantities { get; }

    /// <summary>What the reader must know.</summary>
    IReadOnlyList<Note> Notes { get; }
}
