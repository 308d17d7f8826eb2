using System.Text.Json.Serialization;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Along which axis of the frame wavelengths run.</summary>
public enum DispersionAxis
{
    /// <summary>Along the rows.</summary>
    X,

    /// <summary>Along the columns.</summary>
    Y,
}

/// <summary>How one frame is to be reduced.</summary>
public sealed record SpectrumRequest
{
    /// <summary>The frame, when this one alone is reduced.</summary>
    [JsonIgnore]
    [HandedOver("frame")]
    public Frame? Frame { get; init; }

    /// <summary>Where wavelengths run.</summary>
    public DispersionAxis Axis { get; init; }

    /// <summary>Row near which the wanted spectrum lies at mid frame; NaN = the brightest.</summary>
    public double RowPx { get; init; } = double.NaN;

    /// <summary>First column used, and one past the last; empty = all.</summary>
    public int[] Columns { get; init; } = [];

    /// <summary>Bins along the dispersion.</summary>
    public int Bins { get; init; } = 96;

    /// <summary>Half height of the profile window, pixels; 0 = from the spectrum's own width.</summary>
    public int HalfWindow { get; init; }

    /// <summary>Leave out columns whose flux departs from the continuum by more than this share; 0 = keep all.</summary>
    public double LineDepth { get; init; } = 0.1;
}

/// <summary>One frame, reduced. Arrays over columns run along the dispersion, those over bins too.</summary>
public sealed record ReducedSpectrum
{
    /// <summary>Name of the frame.</summary>
    public required string Name { get; init; }

    /// <summary>Center of the spectrum across the dispersion at each column, pixels.</summary>
    public required double[] TracePx { get; init; }

    /// <summary>Column of the frame at which it begins.</summary>
    public required int FirstColumn { get; init; }

    /// <summary>Flux in each column, ADU, background taken off.</summary>
    [Field(Unit = "adu")]
    public required double[] Flux { get; init; }

    /// <summary>Standard uncertainty of the flux.</summary>
    [Field(Unit = "adu")]
    public required double[] FluxUncertainty { get; init; }

    /// <summary>Background in each column at the spectrum, ADU a pixel.</summary>
    [Field(Unit = "adu")]
    public required double[] Background { get; init; }

    /// <summary>Columns left out: clipped, off the frame, or in a strong line.</summary>
    public required bool[] Masked { get; init; }

    /// <summary>Columns in a strong line or band.</summary>
    public required bool[] InLine { get; init; }

    /// <summary>Mean column of each bin.</summary>
    public required double[] BinColumn { get; init; }

    /// <summary>Half the range that holds 68.3 % of the profile, pixels: model-free.</summary>
    public required double[] WidthPx { get; init; }

    /// <summary>Its standard uncertainty from noise.</summary>
    public required double[] WidthUncertaintyPx { get; init; }

    /// <summary>Flux over noise of the whole bin.</summary>
    public required double[] SignalToNoise { get; init; }

    /// <summary>Profiles, bins x rows, ADU summed over the bin's columns.</summary>
    [Field(Unit = "adu")]
    public required double[,] Profile { get; init; }

    /// <summary>Variance of the background and read noise in the profiles, ADU^2.</summary>
    public required double[,] NoiseVariance { get; init; }

    /// <summary>Row of the first profile sample from the trace, pixels (whole).</summary>
    public required int FirstRow { get; init; }

    /// <summary>Mean and variance of the trace's subpixel place within each bin, pixels and pixels^2.</summary>
    public required double[] SubpixelMean { get; init; }

    /// <summary>Variance that belongs to it.</summary>
    public required double[] SubpixelVariance { get; init; }

    /// <summary>Electrons for one ADU, given or estimated.</summary>
    public required double GainElectronsPerAdu { get; init; }

    /// <summary>Noise of one background pixel, ADU.</summary>
    public required double BackgroundSigmaAdu { get; init; }

    /// <summary>Polynomial of the trace over the column, lowest power first, column scaled to -1 ... 1.</summary>
    public required double[] TracePolynomial { get; init; }

    /// <summary>Scatter of the block centers about the polynomial, pixels.</summary>
    public required double TraceScatterPx { get; init; }

    /// <summary>Pixels of the spectrum rejected as cosmic rays or hot.</summary>
    public required int RejectedPixels { get; init; }

    /// <summary>What must be known.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}
