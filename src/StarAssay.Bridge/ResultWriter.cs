using System.Buffers;
using System.Collections;
using System.Collections.Concurrent;
using System.Globalization;
using System.Reflection;
using System.Text;
using System.Text.Json;

namespace StarAssay.Bridge;

/// <summary>
/// Turns a result record into JSON, with arrays set aside: in their place stands {"$array": k} with the place at which the k-th
/// array begins in the one block of memory that Python makes for all of them. NaN and infinities are written as JavaScript would, which Python reads.
/// </summary>
internal sealed class ResultWriter
{
    private static readonly ConcurrentDictionary<Type, (string Key, PropertyInfo Property)[]> Shapes = new();

    // Each array begins a line of the processor's memory.
    private const long Alignment = 64;
    private readonly List<(Array Array, long Offset)> arrays = [];

    /// <summary>Arrays with the byte at which each begins.</summary>
    public IReadOnlyList<(Array Array, long Offset)> Arrays => arrays;

    /// <summary>Bytes for all arrays.</summary>
    public long ArrayBytes { get; private set; }

    public string Write(object result)
    {
        var buffer = new ArrayBufferWriter<byte>(4096);
        using (var json = new Utf8JsonWriter(buffer, new JsonWriterOptions { SkipValidation = true }))
        {
            Value(json, result);
        }

        return Encoding.UTF8.GetString(buffer.WrittenSpan);
    }

    /// <summary>NumPy's name of an element type, or null when such arrays do not cross.</summary>
    public static string? DtypeOf(Type element) => Type.GetTypeCode(element) switch
    {
        TypeCode.Double => "f8",
        TypeCode.Single => "f4",
        TypeCode.Int32 when !element.IsEnum => "i4",
        TypeCode.Int64 => "i8",
        TypeCode.UInt32 => "u4",
        TypeCode.UInt16 => "u2",
        TypeCode.Int16 => "i2",
        TypeCode.Byte => "u1",
        TypeCode.Boolean => "b1",
        _ => null,
    };

    private static void Number(Utf8JsonWriter json, double value)
    {
        if (double.IsFinite(value))
        {
            json.WriteNumberValue(value);
        }
        else
        {
            json.WriteRawValue(double.IsNaN(value) ? "NaN" : value > 0 ? "Infinity" : "-Infinity", skipInputValidation: true);
        }
    }

    private static (string Key, PropertyInfo Property)[] ShapeOf(Type type) => Shapes.GetOrAdd(type, static t =>
        [.. t.GetProperties(BindingFlags.Public | BindingFlags.Instance)
            .Where(p => p.GetIndexParameters().Length == 0 && p.GetCustomAttribute<System.Text.Json.Serialization.JsonIgnoreAttribute>() is null)
            .Select(p => (Json.Key(p.Name), p))]);

    private void Value(Utf8JsonWriter json, object? value)
    {
        switch (value)
        {
            case null:
                json.WriteNullValue();
                break;
            case string text:
                json.WriteStringValue(text);
                break;
            case bool flag:
                json.WriteBooleanValue(flag);
                break;
            case Enum word:
                json.WriteStringValue(Json.Word(word));
                break;
            case double or float:
                Number(json, Convert.ToDouble(value, CultureInfo.InvariantCulture));
                break;
            case int or long or short or byte or ushort or uint:
                json.WriteNumberValue(Convert.ToInt64(value, CultureInfo.InvariantCulture));
                break;
            case Array array when DtypeOf(array.GetType().GetElementType()!) is string dtype:
                SetAside(json, array, dtype);
                break;
            case IDictionary map:
                json.WriteStartObject();
                foreach (DictionaryEntry entry in map)
                {
                    json.WritePropertyName(Convert.ToString(entry.Key, CultureInfo.InvariantCulture)!);
                    Value(json, entry.Value);
                }

                json.WriteEndObject();
                break;
            case IEnumerable list:
                json.WriteStartArray();
                foreach (object? item in list)
                {
                    Value(json, item);
                }

                json.WriteEndArray();
                break;
            default:
                json.WriteStartObject();
                foreach ((string key, PropertyInfo property) in ShapeOf(value.GetType()))
                {
                    json.WritePropertyName(key);
                    Value(json, property.GetValue(value));
                }

                json.WriteEndObject();
                break;
        }
    }

    private void SetAside(Utf8JsonWriter json, Array array, string dtype)
    {
        json.WriteStartObject();
        json.WriteNumber("$array", arrays.Count);
        json.WriteString("dtype", dtype);
        json.WriteNumber("offset", ArrayBytes);
        json.WriteStartArray("shape");
        for (int axis = 0; axis < array.Rank; axis++)
        {
            json.WriteNumberValue(array.GetLength(axis));
        }

        json.WriteEndArray();
        json.WriteEndObject();
        arrays.Add((array, ArrayBytes));
        ArrayBytes = (ArrayBytes + Buffer.ByteLength(array) + Alignment - 1) / Alignment * Alignment;
    }
}
