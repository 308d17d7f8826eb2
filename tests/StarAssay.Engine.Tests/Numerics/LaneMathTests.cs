using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Tests.Numerics;

/// <summary>Truth: the runtime's double-precision functions.</summary>
public class LaneMathTests
{
    [Fact]
    public void Exp_and_log_follow_double_precision_at_every_width()
    {
        Check<Lanes128>();
        Check<Lanes256>();
        Check<Lanes512>();
    }

    [Fact]
    public void Widths_load_and_compare_alike()
    {
        ushort[] shorts = [.. Enumerable.Range(0, 32).Select(i => (ushort)((i * 2049) + 7))];
        byte[] bytes = [.. Enumerable.Range(0, 32).Select(i => (byte)(i * 9))];
        Loads<Lanes128>(shorts, bytes);
        Loads<Lanes256>(shorts, bytes);
        Loads<Lanes512>(shorts, bytes);
    }

    private static void Loads<T>(ushort[] shorts, byte[] bytes)
        where T : struct, ILanes<T>
    {
        float[] got = new float[16];
        T.Store(T.LoadUInt16(ref shorts[1], 2, false), ref got[0], 0);
        T.Store(T.LoadByte(ref bytes[0], 5), ref got[0], 0);
        for (int i = 0; i < T.Count; i++)
        {
            Assert.Equal(bytes[5 + i], got[i]);
        }

        T.Store(T.LoadUInt16(ref shorts[1], 2, false), ref got[0], 0);
        for (int i = 0; i < T.Count; i++)
        {
            Assert.Equal(shorts[3 + i], got[i]);
        }

        T.Store(T.LoadInt16SwappedHigh(ref shorts[1], 2), ref got[0], 0);
        for (int i = 0; i < T.Count; i++)
        {
            Assert.Equal(65536f * (short)System.Buffers.Binary.BinaryPrimitives.ReverseEndianness(shorts[3 + i]), got[i]);
        }

        Assert.Equal((1ul << (T.Count - 1)) - 1 << 1, T.Above(T.Ramp, T.Of(0)));
        Assert.Equal(3, T.CountBelow(T.Ramp, T.Of(3)));
        Assert.Equal(0ul, T.Above(T.Of(float.NaN), T.Of(0)));
        Assert.Equal(1 + 2 + 3, T.Sum(T.KeepBetween(T.Ramp, T.Of(1), T.Of(3))));
    }

    private static void Check<T>()
        where T : struct, ILanes<T>
    {
        float[] x = new float[16], y = new float[16];
        for (int step = 0; step < 4000; step++)
        {
            for (int i = 0; i < 16; i++)
            {
                x[i] = -87 + (((16 * step) + i) * (174f / 64000));
            }

            T.Store(LaneMath.Exp(T.Load(ref x[0], 0)), ref y[0], 0);
            for (int i = 0; i < T.Count; i++)
            {
                // 4e-7 + the rounding of x/ln2 itself, which grows with |x|: 6e-8 |x|.
                double truth = Math.Exp(x[i]);
                Assert.True(Math.Abs(y[i] - truth) <= truth * (4e-7 + (1e-7 * Math.Abs(x[i]))), $"exp({x[i]}) = {y[i]}, not {truth}");
            }

            for (int i = 0; i < 16; i++)
            {
                x[i] = MathF.Exp(-40 + (((16 * step) + i) * (80f / 64000)));
            }

            T.Store(LaneMath.Log2(T.Load(ref x[0], 0)), ref y[0], 0);
            for (int i = 0; i < T.Count; i++)
            {
                double truth = Math.Log2(x[i]);
                Assert.True(Math.Abs(y[i] - truth) <= 3e-7 * Math.Max(1, Math.Abs(truth)), $"log2({x[i]}) = {y[i]}, not {truth}");
            }
        }
    }
}
