using System.Runtime.InteropServices;
using System.Text.Json;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge;

/// <summary>What one call brings: a request as JSON and arrays by name, seen in place.</summary>
public sealed class TaskInput
{
    private readonly JsonElement request;
    private readonly Dictionary<string, (ArraySpec Spec, nint Address)> arrays;

    internal TaskInput(JsonElement request, IEnumerable<(ArraySpec Spec, nint Address)> arrays)
    {
        this.request = request;
        this.arrays = arrays.ToDictionary(a => a.Spec.Name, StringComparer.Ordinal);
    }

    /// <summary>The request record; keys are snake_case.</summary>
    public T Request<T>() => (T)Request(typeof(T));

    /// <summary>The same, of a type that is known only now.</summary>
    public object Request(Type type)
    {
        try
        {
            return request.Deserialize(type, Json.Options)!;
        }
        catch (JsonException e)
        {
            throw new InputException("gateway.request", $"The request for {type.Name} cannot be read: {e.Message}", inner: e);
        }
    }

    /// <summary>True when an array of that name was handed over.</summary>
    public bool Has(string name) => arrays.ContainsKey(name);

    /// <summary>How many arrays are named prefix0, prefix1, and so on.</summary>
    public int CountOf(string prefix)
    {
        int n = 0;
        while (Has($"{prefix}{n}"))
        {
            n++;
        }

        return n;
    }

    /// <summary>A frame whose pixels stay in Python's memory.</summary>
    public Frame Frame(string name)
    {
        (ArraySpec spec, nint address) = Find(name);
        FrameSpec frame = spec.Frame ?? throw Wrong(name, "a frame");
        if (spec.Shape.Count != 2)
        {
            throw new InputException("frame.dimensions",
                $"{frame.Label} has {spec.Shape.Count} axes; an image with two is needed. Choose one plane of it.", name, frame.Label);
        }

        PixelFormat format = FormatOf(spec.Dtype, name);
        long bytes = spec.Count * RawPixels.BytesPerPixel(format);
        if (bytes > int.MaxValue)
        {
            throw new InputException("frame.too-large", $"{frame.Label} holds {bytes} bytes; the largest frame is 2 GiB. Cut it into parts.", name,
                frame.Label);
        }

        var memory = new NativeMemory<byte>(address, (int)bytes);
        return new Frame
        {
            Pixels = new RawPixels(memory.Memory, format, spec.BigEndian, (int)spec.Shape[1], (int)spec.Shape[0], frame.Scale, frame.Zero, frame.Blank),
            Mask = frame.Mask is null ? ReadOnlyMemory<byte>.Empty : Bytes(frame.Mask),
            Name = frame.Label,
            SaturationAdu = frame.SaturationAdu,
            GainElectronsPerAdu = frame.GainElectronsPerAdu,
            ReadNoiseElectrons = frame.ReadNoiseElectrons,
            PitchUm = frame.PitchUm,
            ExposureS = frame.ExposureS,
        };
    }

    /// <summary>Frames named prefix0, prefix1, and so on.</summary>
    public IReadOnlyList<Frame> Frames(string prefix) => [.. Enumerable.Range(0, CountOf(prefix)).Select(i => Frame($"{prefix}{i}"))];

    /// <summary>A read-only float64 array.</summary>
    public ReadOnlyMemory<double> Doubles(string name) => View<double>(name, "f8", false);

    /// <summary>A read-only float32 array.</summary>
    public ReadOnlyMemory<float> Floats(string name) => View<float>(name, "f4", false);

    /// <summary>A read-only array of bytes or booleans.</summary>
    public ReadOnlyMemory<byte> Bytes(string name) =>
        Find(name).Spec.Dtype == "b1" ? View<byte>(name, "b1", false) : View<byte>(name, "u1", false);

    /// <summary>A float32 array of Python's that the engine fills.</summary>
    public Memory<float> Output(string name) => View<float>(name, "f4", true);

    /// <summary>A uint16 array of Python's that the engine fills.</summary>
    public Memory<ushort> OutputUInt16(string name) => View<ushort>(name, "u2", true);

    /// <summary>A byte array of Python's that the engine fills.</summary>
    public Memory<byte> OutputBytes(string name) => View<byte>(name, "u1", true);

    /// <summary>Sizes of an array, slowest axis first.</summary>
    public IReadOnlyList<int> Shape(string name) => [.. Find(name).Spec.Shape.Select(n => checked((int)n))];

    private static PixelFormat FormatOf(string dtype, string name) => dtype switch
    {
        "u1" or "b1" => PixelFormat.UInt8,
        "i1" => PixelFormat.Int8,
        "u2" => PixelFormat.UInt16,
        "i2" => PixelFormat.Int16,
        "u4" => PixelFormat.UInt32,
        "i4" => PixelFormat.Int32,
        "u8" => PixelFormat.UInt64,
        "i8" => PixelFormat.Int64,
        "f4" => PixelFormat.Float32,
        "f8" => PixelFormat.Float64,
        _ => throw new InputException("frame.type", $"{name} holds values of type '{dtype}', which is no pixel type. Give integers or floating-point numbers.",
            name),
    };

    private static InputException Wrong(string name, string wanted) =>
        new("gateway.array", $"The array '{name}' was not handed over as {wanted}.", name);

    private (ArraySpec Spec, nint Address) Find(string name) =>
        arrays.TryGetValue(name, out (ArraySpec, nint) found) ? found : throw Wrong(name, "part of this call");

    private Memory<T> View<T>(string name, string dtype, bool write)
        where T : unmanaged
    {
        (ArraySpec spec, nint address) = Find(name);
        bool swapped = spec.BigEndian == BitConverter.IsLittleEndian && Marshal.SizeOf<T>() > 1;
        if (spec.Dtype != dtype || swapped || (write && !spec.Writable))
        {
            throw Wrong(name, $"a native {dtype}{(write ? " array to write into" : string.Empty)}");
        }

        return new NativeMemory<T>(address, checked((int)spec.Count)).Memory;
    }
}
