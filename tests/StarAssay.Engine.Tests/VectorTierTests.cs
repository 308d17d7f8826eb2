using System.Runtime.Intrinsics;

namespace StarAssay.Engine.Tests;

/// <summary>
/// The tests of the kernels run again with instruction sets switched off (see tests/run). The switches' names change
/// with the runtime, so each such run first makes sure that the tier is truly off.
/// </summary>
public class VectorTierTests
{
    [Fact]
    public void The_widest_vectors_are_those_that_this_run_asks_for()
    {
        int widest = Vector512.IsHardwareAccelerated ? 512
            : Vector256.IsHardwareAccelerated ? 256
            : Vector128.IsHardwareAccelerated ? 128 : 0;
        string? wanted = Environment.GetEnvironmentVariable("STARASSAY_EXPECT_BITS");
        if (wanted is null)
        {
            Assert.Contains(widest, new[] { 0, 128, 256, 512 });
            return;
        }

        // A processor without 512-bit vectors cannot be asked to have them, only to have no more than that.
        Assert.True(widest <= int.Parse(wanted), $"this run should see at most {wanted}-bit vectors, but sees {widest}");
    }
}
