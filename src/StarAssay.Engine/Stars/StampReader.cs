using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using System.Runtime.Intrinsics.X86;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Cuts stamps out of a frame where nothing stands in the way: whole stamps of a format that can be read in place, without
/// mask. Sky and its slope are taken off on the way.
/// </summary>
internal sealed unsafe class StampReader
{
    private readonly Frame frame;
    private readonly StoredFormat format;
    private readonly byte* bytes;

    /// <summary>Makes a reader for a frame.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="address">Where its pixels stay as long as the reader is used.</param>
    public StampReader(Frame frame, nint address)
    {
        this.frame = frame;
        bytes = (byte*)address;
        format = frame.Mask.IsEmpty && Vector128.IsHardwareAccelerated ? StoredFormats.Of(frame.Pixels) : StoredFormat.Other;
    }

    /// <summary>Fills the stamp at its place.</summary>
    /// <returns>False when it has to be read the careful way: at the frame's rim, or with pixels that are no numbers.</returns>
    public bool TryRead(Stamp stamp, in SkySample sky)
    {
        if (!IsWhole(stamp.X0, stamp.Y0, stamp))
        {
            return false;
        }

        return format switch
        {
            StoredFormat.Float => Read<StoredFloat>(stamp, sky),
            StoredFormat.UInt16 => Read<StoredUInt16>(stamp, sky),
            _ => Read<StoredFileUInt16>(stamp, sky),
        };
    }

    /// <summary>Asks for the pixels of a later stamp, so that they are near when they are read.</summary>
    public void Prefetch(int x0, int y0, Stamp stamp)
    {
        if (!Sse.IsSupported || !IsWhole(x0, y0, stamp))
        {
            return;
        }

        int size = format == StoredFormat.Float ? sizeof(float) : sizeof(ushort);
        byte* row = bytes + ((((long)y0 * frame.Width) + x0) * size);
        for (int j = 0; j < stamp.Side; j++, row += (nint)frame.Width * size)
        {
            for (int b = 0; b < stamp.Side * size; b += 64)
            {
                Sse.Prefetch0(row + b);
            }

            Sse.Prefetch0(row + (stamp.Side * size) - 1);
        }
    }

    /// <summary>Whole registers of each of its rows lie inside the frame's rows.</summary>
    private bool IsWhole(int x0, int y0, Stamp stamp) =>
        format != StoredFormat.Other && x0 >= 0 && y0 >= 0 && y0 + stamp.Side <= frame.Height && x0 + Padded(stamp.Side) <= frame.Width;

    private static int Padded(int side) => (side + Stamp.Step - 1) / Stamp.Step * Stamp.Step;

    private bool Read<TPixels>(Stamp stamp, in SkySample sky)
        where TPixels : struct, IStoredPixels =>
        Vector512.IsHardwareAccelerated ? Read<Lanes512, TPixels>(stamp, sky)
        : Vector256.IsHardwareAccelerated ? Read<Lanes256, TPixels>(stamp, sky)
        : Read<Lanes128, TPixels>(stamp, sky);

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private bool Read<T, TPixels>(Stamp stamp, in SkySample sky)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        ref float target = ref MemoryMarshal.GetArrayDataReference(stamp.Pixels);
        byte* row = bytes + ((((long)stamp.Y0 * frame.Width) + stamp.X0) * TPixels.Size);
        var plane = new SkyPlane(sky, stamp.Half);
        T slope = T.Of(plane.Slope), zero = T.Of(0), step = T.Of(T.Count), missing = zero;
        int side = stamp.Side, whole = side / T.Count * T.Count;
        nint stride = stamp.Stride, pitch = (nint)frame.Width * TPixels.Size, at = 0;
        for (int j = 0; j < side; j++, row += pitch, at += stride)
        {
            T start = T.Of(plane.Start(j)), columns = T.Ramp;
            int x = 0;
            for (; x < whole; x += T.Count, columns += step)
            {
                T v = TPixels.Load<T>(ref *row, x) - SkyPlane.At(columns, slope, start);
                missing = T.MulAdd(v, zero, missing);
                T.Store(v, ref target, at + x);
            }

            if (x < side)
            {
                T v = T.KeepFirst(TPixels.Load<T>(ref *row, x) - SkyPlane.At(columns, slope, start), side - x);
                missing = T.MulAdd(v, zero, missing);
                T.Store(v, ref target, at + x);
            }
        }

        return T.Sum(missing) == 0;
    }
}
