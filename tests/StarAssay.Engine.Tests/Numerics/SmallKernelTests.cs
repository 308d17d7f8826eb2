using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Numerics;

/// <summary>Truth: the plain formulas of <see cref="Math"/> and LINQ.</summary>
public class SmallKernelTests
{
    [Fact]
    public void Arc_sines_are_good_to_single_precision_also_near_1()
    {
        Check<Lanes128>();
        Check<Lanes256>();
        Check<Lanes512>();

        static void Check<T>()
            where T : struct, ILanes<T>
        {
            float[] x = new float[16], rest = new float[16], y = new float[16];
            for (int step = 0; step < 2000; step++)
            {
                for (int i = 0; i < 16; i++)
                {
                    rest[i] = MathF.Pow(((16 * step) + i) / 32000f, 3);
                    x[i] = 1 - rest[i];
                }

                T.Store(LaneMath.Asin(T.Load(ref x[0], 0), T.Load(ref rest[0], 0)), ref y[0], 0);
                for (int i = 0; i < T.Count; i++)
                {
                    Assert.Equal(Math.Asin(1.0 - rest[i]), y[i], 3e-7);
                }
            }
        }
    }

    [Fact]
    public void A_line_is_the_same_at_every_width_and_length()
    {
        for (int n = 0; n < 70; n++)
        {
            float[] truth = [.. Enumerable.Range(0, n).Select(k => 3.25f + (0.5f * k))], line = new float[n + 1];
            line[n] = -7;
            StraightLine.Fill(line.AsSpan(0, n), 3.25f, 0.5f);
            Assert.Equal(truth, line[..n]);
            Assert.Equal(-7, line[n]);
            foreach (int done in new[] { StraightLine.FillLanes<Lanes128>(line.AsSpan(0, n), 3.25f, 0.5f),
                StraightLine.FillLanes<Lanes256>(line.AsSpan(0, n), 3.25f, 0.5f), StraightLine.FillLanes<Lanes512>(line.AsSpan(0, n), 3.25f, 0.5f) })
            {
                Assert.Equal(truth[..done], line[..done]);
            }
        }
    }

    [Fact]
    public void Ranking_is_a_stable_sort()
    {
        var random = new Random(4);
        float[] values = [.. Enumerable.Range(0, 3000).Select(_ => 1 + (random.Next(500) / 7f))];
        Assert.Equal(Enumerable.Range(0, values.Length).OrderByDescending(i => values[i]), Ranking.Descending(values));
    }

    [Fact]
    public void Ranking_orders_doubles_of_every_size_and_puts_NaN_last()
    {
        var random = new Random(5);
        double[] values = [.. Enumerable.Range(0, 3000).Select(_ => (random.NextDouble() - 0.4) * Math.Pow(10, random.Next(-20, 20))), 0, -0.0, 1, 1 + 2e-16,
            double.PositiveInfinity];
        int[] all = [.. Enumerable.Range(0, values.Length)];
        Assert.Equal(all.OrderBy(i => values[i]), Ranking.Ascending(values));
        Assert.Equal(all.OrderByDescending(i => values[i]), Ranking.Descending(values));
        Assert.Equal([1, 2, 0], Ranking.Descending([double.NaN, 3, 2]));
        Assert.Equal([2, 1, 0], Ranking.Ascending([double.NaN, 3.0, 2]));
    }

    [Theory]
    [InlineData(1)]
    [InlineData(2)]
    [InlineData(5)]
    public void Every_item_is_done_once(int threads)
    {
        int[] done = new int[1000];
        Sharing.For(done.Length, new RunContext(threads), i => Interlocked.Increment(ref done[i]));
        Assert.All(done, n => Assert.Equal(1, n));
        using var cancel = new CancellationTokenSource();
        cancel.Cancel();
        Assert.ThrowsAny<OperationCanceledException>(() => Sharing.For(10, new RunContext(threads, null, cancel.Token), _ => { }));
    }

    [Fact]
    public void Lanes_shift_and_choose_alike()
    {
        Check<Lanes128>();
        Check<Lanes256>();
        Check<Lanes512>();

        static void Check<T>()
            where T : struct, ILanes<T>
        {
            float[] a = [.. Enumerable.Range(0, 16).Select(i => 100f + i)], b = [.. Enumerable.Range(0, 16).Select(i => (float)i - 4)], y = new float[16];
            T.Store(T.ShiftIn(T.Load(ref a[0], 0), T.Load(ref b[0], 0)), ref y[0], 0);
            Assert.Equal(a[T.Count - 1], y[0]);
            Assert.Equal(b[..(T.Count - 1)], y[1..T.Count]);
            b[1] = float.NaN;
            T.Store(T.OneWithin(T.Load(ref b[0], 0), T.Of(3)), ref y[0], 0);
            Assert.Equal(b[..T.Count].Select(v => MathF.Abs(v) <= 3 ? 1f : 0f), y[..T.Count]);
            T.Store(T.IfAtMost(T.Load(ref b[0], 0), T.Of(0), T.Of(5), T.Of(6)), ref y[0], 0);
            Assert.Equal(b[..T.Count].Select(v => v <= 0 ? 5f : 6f), y[..T.Count]);
        }
    }
}
