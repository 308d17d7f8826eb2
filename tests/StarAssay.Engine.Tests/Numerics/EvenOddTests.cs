using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Tests.Numerics;

public class EvenOddTests
{
    [Fact]
    public void Every_length_is_parted()
    {
        for (int half = 0; half < 70; half++)
        {
            float[] source = [.. Enumerable.Range(0, 2 * half).Select(k => k == 5 ? float.NaN : k)];
            float[] even = new float[half], odd = new float[half];
            EvenOdd.Split(source, even, odd);
            Assert.Equal(source.Where((_, k) => k % 2 == 0), even);
            Assert.Equal(source.Where((_, k) => k % 2 == 1), odd);
        }

        Assert.Throws<ArgumentException>(() => EvenOdd.Split(new float[3], new float[1], new float[1]));
    }
}
