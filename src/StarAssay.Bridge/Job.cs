using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Text.Json;
using Python.Runtime;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge;

/// <summary>
/// One running task. Python waits on it in short slices, so that a progress bar moves and an interrupt is heard, then
/// takes the result and disposes it. It holds Python's buffers until <see cref="Dispose"/>.
/// </summary>
public sealed class Job : IDisposable
{
    private readonly CancellationTokenSource cancel = new();
    private readonly List<PyBuffer> buffers = [];
    private readonly Task work;
    private ResultWriter? writer;
    private string? resultJson;
    private string? errorJson;
    private double fraction;
    private string phrase = "";

    internal Job(string task, JsonElement request, IReadOnlyList<ArraySpec> specs, PyObject arrays, int threads)
    {
        Func<TaskInput, RunContext, object> body = TaskTable.Find(task);
        TaskInput input;

        // pythonnet has let go of the interpreter lock for this call; buffers are taken with it held.
        using (Py.GIL())
        {
            try
            {
                input = new TaskInput(request, Borrow(specs, arrays));
            }
            catch
            {
                Release();
                throw;
            }
        }

        var context = new RunContext(threads, Report, cancel.Token);
        work = Task.Run(() => Run(body, input, context));
    }

    /// <summary>Share of the work done, 0 to 1, or 0 when the task does not say.</summary>
    public double Fraction => Volatile.Read(ref fraction);

    /// <summary>What it is doing, in a few words.</summary>
    public string Phrase => Volatile.Read(ref phrase);

    /// <summary>JSON of the error, or null.</summary>
    public string? Error => errorJson;

    /// <summary>JSON of the result, or null.</summary>
    public string? Result => resultJson;

    /// <summary>Waits at most that long; true when the task has ended.</summary>
    public bool Wait(int milliseconds) => work.Wait(milliseconds);

    /// <summary>Asks the task to stop.</summary>
    public void Cancel() => cancel.Cancel();

    /// <summary>Bytes that <see cref="CopyArrays"/> needs.</summary>
    public long ArrayBytes => writer?.ArrayBytes ?? 0;

    /// <summary>Copies all arrays of the result into one block of bytes, each to its place.</summary>
    public unsafe void CopyArrays(PyObject destination)
    {
        using (Py.GIL())
        using (destination)
        using (PyBuffer target = destination.GetBuffer(PyBUF.ND | PyBUF.WRITABLE))
        {
            if (target.Length != writer!.ArrayBytes)
            {
                throw new InvalidOperationException($"The arrays hold {writer.ArrayBytes} bytes, the destination {target.Length}.");
            }

            foreach ((Array source, long offset) in writer.Arrays)
            {
                int bytes = Buffer.ByteLength(source);
                new ReadOnlySpan<byte>(Unsafe.AsPointer(ref MemoryMarshal.GetArrayDataReference(source)), bytes)
                    .CopyTo(new Span<byte>((byte*)target.Buffer + offset, bytes));
            }
        }
    }

    /// <summary>Gives Python's buffers back; a task that is still running is cancelled and waited for first, since it
    /// reads those buffers.</summary>
    public void Dispose()
    {
        if (!work.IsCompleted)
        {
            cancel.Cancel();
            work.Wait();
        }

        using (Py.GIL())
        {
            Release();
        }

        cancel.Dispose();
    }

    private void Run(Func<TaskInput, RunContext, object> body, TaskInput input, RunContext context)
    {
        try
        {
            object result = body(input, context);
            context.Cancel.ThrowIfCancellationRequested();
            writer = new ResultWriter();
            resultJson = writer.Write(result);
        }
        catch (Exception e)
        {
            errorJson = ErrorWriter.Write(e);
        }
    }

    private void Report(double done, string words)
    {
        Volatile.Write(ref fraction, done);
        Volatile.Write(ref phrase, words);
    }

    private (ArraySpec Spec, nint Address)[] Borrow(IReadOnlyList<ArraySpec> specs, PyObject arrays)
    {
        var found = new (ArraySpec, nint)[specs.Count];
        for (int i = 0; i < found.Length; i++)
        {
            using PyObject item = arrays[i];
            PyBuffer buffer = item.GetBuffer(specs[i].Writable ? PyBUF.ND | PyBUF.WRITABLE : PyBUF.ND);
            buffers.Add(buffer);
            int size = specs[i].Dtype[^1] - '0';
            if (buffer.Length != specs[i].Count * size)
            {
                throw new InputException("gateway.array", $"The array '{specs[i].Name}' holds {buffer.Length} bytes, not the {specs[i].Count * size} that " +
                    "its shape asks for.", specs[i].Name);
            }

            found[i] = (specs[i], buffer.Buffer);
        }

        return found;
    }

    private void Release()
    {
        foreach (PyBuffer buffer in buffers)
        {
            buffer.Dispose();
        }

        buffers.Clear();
    }
}
