using System.Reflection;
using System.Runtime.InteropServices;
using System.Text.Json;
using Python.Runtime;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge;

/// <summary>The only door that the Python face uses.</summary>
public static class Gateway
{
    /// <summary>Version of the engine; the face refuses another than its own.</summary>
    public static string Version { get; } =
        typeof(Gateway).Assembly.GetCustomAttribute<AssemblyInformationalVersionAttribute>()!.InformationalVersion.Split('+')[0];

    /// <summary>Starts a task.</summary>
    /// <param name="task">Its name, for example "stars.measure".</param>
    /// <param name="call">JSON: {"request": {...}, "arrays": [{name, dtype, big_endian, shape, writable, frame}]}.</param>
    /// <param name="arrays">Python list of C-contiguous NumPy arrays, in the order of the descriptions.</param>
    /// <param name="threads">Worker threads; 0 = one for each processor.</param>
    /// <returns>The running job.</returns>
    public static Job Start(string task, string call, PyObject arrays, int threads)
    {
        try
        {
            Rehearsal.EndFor(task);
            Call parsed = JsonSerializer.Deserialize<Call>(call, Json.Options)!;
            return new Job(task, parsed.Request, parsed.Arrays, arrays, threads);
        }
        finally
        {
            // The job's buffers hold the arrays now. Left to the collector, this reference would keep frames of a
            // hundred megabytes alive long after the call, since .NET does not see how large they are.
            using (Py.GIL())
            {
                arrays.Dispose();
            }
        }
    }

    /// <summary>JSON of what an exception from <see cref="Start"/> means; the same words as a job's error.</summary>
    public static string Explain(Exception exception) => ErrorWriter.Write(exception);

    /// <summary>JSON: version, runtime, processors, vector widths and tasks.</summary>
    public static string About() => JsonSerializer.Serialize(new
    {
        version = Version,
        runtime = RuntimeInformation.FrameworkDescription,
        architecture = RuntimeInformation.ProcessArchitecture.ToString(),
        processors = Environment.ProcessorCount,
        vector_bits = System.Runtime.Intrinsics.Vector512.IsHardwareAccelerated ? 512
            : System.Runtime.Intrinsics.Vector256.IsHardwareAccelerated ? 256
            : System.Runtime.Intrinsics.Vector128.IsHardwareAccelerated ? 128 : 0,
        tasks = TaskTable.Names,
    });

    /// <summary>JSON: measurements, records with names, units, ranges and texts, flags, quantities and notes; what the face's
    /// generated module is written from.</summary>
    public static string Describe() => Description.Write();

    /// <summary>Gets ready for a measurement while the caller loads what it needs itself: its code is compiled beside that. Changes no result.</summary>
    /// <param name="area">The measurement's one name, for example "stars".</param>
    public static void Rehearse(string area) => Rehearsal.Begin(area);
}
