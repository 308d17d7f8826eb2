using System.Buffers;

namespace StarAssay.Bridge;

/// <summary>Memory that Python owns, seen as a .NET <see cref="Memory{T}"/>. It moves nothing and frees nothing:
/// the job holds Python's buffer for as long as this is in use.</summary>
internal sealed unsafe class NativeMemory<T>(nint address, int length) : MemoryManager<T>
    where T : unmanaged
{
    public override Span<T> GetSpan() => new((void*)address, length);

    public override MemoryHandle Pin(int elementIndex = 0)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(elementIndex);
        ArgumentOutOfRangeException.ThrowIfGreaterThan(elementIndex, length);
        return new MemoryHandle((T*)address + elementIndex);
    }

    public override void Unpin()
    {
    }

    protected override void Dispose(bool disposing)
    {
    }
}
