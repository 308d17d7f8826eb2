using System.Runtime.CompilerServices;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>The sky under a stamp: level and slope at the star, carried on straight to the rim. One definition for all ways of reading
/// a stamp: each pixel's level is rounded alike, whatever register it is in.</summary>
/// <param name="sky">The sky at the middle pixel.</param>
/// <param name="half">Pixels from the middle to the rim.</param>
internal readonly struct SkyPlane(in SkySample sky, int half)
{
    private readonly double corner = sky.Level - ((sky.SlopeX + sky.SlopeY) * half);
    private readonly double slopeY = sky.SlopeY;

    /// <summary>ADU from a column to the next.</summary>
    public readonly float Slope = (float)sky.SlopeX;

    /// <summary>ADU at a row's column 0.</summary>
    public float Start(int row) => (float)(corner + (slopeY * row));

    /// <summary>ADU at a column of a row.</summary>
    public float At(int column, float start) => float.MultiplyAddEstimate(column, Slope, start);

    /// <summary>The same for a register of columns.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static T At<T>(T columns, T slope, T start)
        where T : struct, ILanes<T> => T.MulAdd(columns, slope, start);
}
