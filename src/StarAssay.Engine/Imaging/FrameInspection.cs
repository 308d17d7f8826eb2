namespace StarAssay.Engine.Imaging;

/// <summary>Which pixels of the 2 x 2 cell carry green, as far as the pixels tell.</summary>
public enum MosaicGreens
{
    /// <summary>The four pixels of the cell do not differ: a mono image.</summary>
    NoMosaic,

    /// <summary>[0, 0] and [1, 1] agree, the other two differ.</summary>
    MainDiagonal,

    /// <summary>[0, 1] and [1, 0] agree, the other two differ.</summary>
    AntiDiagonal,

    /// <summary>The cell's pixels differ, but not in a way that shows where green is.</summary>
    Undecided,
}

/// <summary>How the pixels of a 2 x 2 cell differ: medians over tiles, with standard errors, in ADU.</summary>
/// <param name="Greens">The conclusion.</param>
/// <param name="MainDifference">[0, 0] minus [1, 1].</param>
/// <param name="MainError">Its standard error.</param>
/// <param name="AntiDifference">[0, 1] minus [1, 0] (row, column).</param>
/// <param name="AntiError">Its standard error.</param>
/// <param name="CheckerDifference">Mean of the main diagonal minus mean of the other.</param>
/// <param name="CheckerError">Its standard error.</param>
/// <param name="Tiles">Tiles that were looked at.</param>
public sealed record MosaicEvidence(MosaicGreens Greens, double MainDifference, double MainError, double AntiDifference,
    double AntiError, double CheckerDifference, double CheckerError, int Tiles);

/// <summary>What one look at the pixels says of a frame. Levels in ADU; counts are of the whole frame, estimated when
/// only every <see cref="RowStep"/>-th row was looked at.</summary>
public sealed record FrameInspection
{
    /// <summary>Pixels in the image.</summary>
    public required long PixelCount { get; init; }

    /// <summary>1 when every row was looked at.</summary>
    public required int RowStep { get; init; }

    /// <summary>Pixels that hold no number, masked ones left out.</summary>
    public required long NotFiniteCount { get; init; }

    /// <summary>Pixels looked at: neither masked nor without a number.</summary>
    public required long UsedCount { get; init; }

    /// <summary>Smallest value; NaN when no pixel is usable.</summary>
    public required double MinimumAdu { get; init; }

    /// <summary>Largest value.</summary>
    public required double MaximumAdu { get; init; }

    /// <summary>Median, to one step of the histogram.</summary>
    public required double MedianAdu { get; init; }

    /// <summary>Spread about the median as a standard deviation (from quartiles, Gaussian).</summary>
    public required double SpreadAdu { get; init; }

    /// <summary>Level that 1 % of the pixels exceed.</summary>
    public required double BrightAdu { get; init; }

    /// <summary>Greatest common step between the values, for integers; 0 when it is not known.</summary>
    public required double StepAdu { get; init; }

    /// <summary>Level at which pixels pile up at the bright end; NaN when they do not.</summary>
    public required double PileUpAdu { get; init; }

    /// <summary>Pixels at that level or above.</summary>
    public required long PileUpCount { get; init; }

    /// <summary>Pixels at or above the saturation level that came with the frame.</summary>
    public required long SaturatedCount { get; init; }

    /// <summary>Color mosaic seen in the pixels.</summary>
    public required MosaicEvidence Mosaic { get; init; }
}
