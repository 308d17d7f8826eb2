using Python.Runtime;

namespace StarAssay.Bridge.Astropy;

/// <summary>Starts Python inside a .NET process, once, for programs written in C#.</summary>
public static class PythonHost
{
    private static readonly Lock Gate = new();

    /// <summary>Starts Python unless it runs already.</summary>
    /// <param name="library">Name or path of Python's shared library, for example "libpython3.11.so.1.0".</param>
    public static void Start(string library)
    {
        lock (Gate)
        {
            if (PythonEngine.IsInitialized)
            {
                return;
            }

            Runtime.PythonDLL = library;
            PythonEngine.Initialize();

            // Without this the starting thread would keep the interpreter lock for ever.
            PythonEngine.BeginAllowThreads();
        }
    }
}
