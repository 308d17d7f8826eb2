using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Tests.Numerics;

public class CrewTests
{
    [Theory]
    [InlineData(1)]
    [InlineData(3)]
    public void Every_item_is_done_once_in_every_round(int helpers)
    {
        var crew = new Crew(helpers);
        int[] done = new int[37];
        for (int round = 0; round < 2000; round++)
        {
            Assert.True(crew.Run(done.Length, (i, _) => Interlocked.Increment(ref done[i])));
        }

        Assert.All(done, count => Assert.Equal(2000, count));
    }

    [Fact]
    public void Helpers_come_back_after_they_went_to_sleep_and_after_they_ended()
    {
        var crew = new Crew(1);
        foreach (int pause in new[] { 0, 5, 400 })
        {
            Thread.Sleep(pause);
            var workers = new HashSet<int>();
            var both = new Barrier(2);

            // Each item waits for the other, so two threads must be at work.
            Assert.True(crew.Run(2, (_, worker) =>
            {
                Assert.True(both.SignalAndWait(TimeSpan.FromSeconds(20)));
                lock (workers)
                {
                    workers.Add(worker);
                }
            }));
            Assert.Equal([0, 1], workers.Order());
        }
    }

    [Fact]
    public void A_failure_reaches_the_caller_and_the_crew_works_on()
    {
        var crew = new Crew(2);
        InvalidOperationException seen = Assert.Throws<InvalidOperationException>(() =>
            crew.Run(100, (i, _) => throw new InvalidOperationException($"item {i}")));
        Assert.StartsWith("item", seen.Message, StringComparison.Ordinal);
        int sum = 0;
        Assert.True(crew.Run(10, (i, _) => Interlocked.Add(ref sum, i)));
        Assert.Equal(45, sum);
    }

    [Fact]
    public void A_round_within_a_round_is_left_to_the_caller()
    {
        var crew = new Crew(1);
        bool inner = true;
        crew.Run(2, (i, _) => inner &= i != 0 || !crew.Run(2, (_, _) => { }));
        Assert.True(inner);
    }
}
