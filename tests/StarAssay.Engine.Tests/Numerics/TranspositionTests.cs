using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Tests.Numerics;

public class TranspositionTests
{
    [Theory]
    [InlineData(16, 16)]
    [InlineData(48, 32)]
    [InlineData(32, 80)]
    public unsafe void Rows_become_columns(int rows, int columns)
    {
        var source = new SplitMatrix(rows, columns);
        var target = new SplitMatrix(columns, rows);
        for (int i = 0; i < rows * columns; i++)
        {
            source.Re[i] = i;
        }

        Transposition.Whole(source.RePointer, source.Stride, rows, columns, target.RePointer, target.Stride);
        for (int j = 0; j < rows; j++)
        {
            for (int i = 0; i < columns; i++)
            {
                Assert.Equal(source.Re[(j * source.Stride) + i], target.Re[(i * target.Stride) + j]);
            }
        }
    }
}
