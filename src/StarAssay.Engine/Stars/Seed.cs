namespace StarAssay.Engine.Stars;

/// <summary>A peak of the filtered frame: where a star may be.</summary>
/// <param name="X">Column of the peak.</param>
/// <param name="Y">Row of the peak.</param>
/// <param name="Height">Filtered value above the sky, ADU.</param>
/// <param name="Significance">Height over the noise of the filtered sky.</param>
internal readonly record struct Seed(int X, int Y, float Height, float Significance);
