using System.Collections;
using System.Reflection;
using System.Runtime.CompilerServices;
using System.Text.Json;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge;

/// <summary>
/// Describes the engine to those who write its face: measurements, the records that go in and come out with names, units,
/// ranges, choices, defaults and texts, flags, quantities and notes. All of it is read from the engine itself.
/// </summary>
internal sealed class Description
{
    private readonly Dictionary<string, object> records = new(StringComparer.Ordinal);
    private readonly DocTexts texts = DocTexts.Read(typeof(Note).Assembly);

    private Description()
    {
    }

    /// <summary>The description as JSON.</summary>
    public static string Write()
    {
        var made = new Description();
        var measurements = new List<object>();
        var tasks = new List<object>();
        foreach ((string name, MethodInfo method) in EngineFunctions.All)
        {
            Type? request = EngineFunctions.RequestOf(method);
            made.Describe(request);
            made.Describe(method.ReturnType);
            tasks.Add(new { task = name, request = request?.Name, result = method.ReturnType.Name, doc = made.texts.Of(method) });
            if (method.GetCustomAttribute<MeasurementAttribute>() is MeasurementAttribute mark)
            {
                measurements.Add(new { area = mark.Area, title = mark.Title, task = mark.Name, request = request?.Name, result = method.ReturnType.Name });
            }
        }

        var quantities = QuantityCatalog.All.Select(q => new
        {
            area = q.Area,
            name = q.Definition.Name,
            label = q.Definition.Label,
            unit = q.Definition.Unit,
            low = Finite(q.Definition.Low),
            high = Finite(q.Definition.High),
            larger_is_better = q.Definition.LargerIsBetter,
            missing = q.Definition.Missing,
        });
        var notes = NoteCatalog.All.Select(n => new { code = n.Code, level = Json.Word(n.Level), meaning = n.Meaning });
        return JsonSerializer.Serialize(new { measurements, tasks, records = made.records, quantities, notes });
    }

    private static double? Finite(double value) => double.IsFinite(value) ? value : null;

    private static Type? ElementOf(Type type) =>
        type.IsArray ? type.GetElementType()
        : type != typeof(string) && type.IsGenericType && typeof(IEnumerable).IsAssignableFrom(type) ? type.GetGenericArguments()[0]
        : null;

    private static bool IsRecord(Type type) =>
        type.Assembly == typeof(Note).Assembly && !type.IsEnum && type != typeof(Measured) && type != typeof(Note) && type != typeof(Frame)
        && !typeof(Delegate).IsAssignableFrom(type);

    private void Describe(Type? type)
    {
        if (type is null || !IsRecord(type) || records.ContainsKey(type.Name))
        {
            return;
        }

        records[type.Name] = new object();
        PropertyInfo[] properties = [.. type.GetProperties(BindingFlags.Public | BindingFlags.Instance)
            .Where(p => p.GetIndexParameters().Length == 0 && p.Name != "EqualityContract" && p.GetCustomAttribute<HandedOverAttribute>() is null
                && (p.GetCustomAttribute<System.Text.Json.Serialization.JsonIgnoreAttribute>() is null))];
        object? defaults = type.GetConstructor(Type.EmptyTypes) is null ? null : Activator.CreateInstance(type);
        records[type.Name] = new { doc = texts.Of(type), fields = properties.Select(p => Field(type, p, defaults)).ToArray() };
        foreach (PropertyInfo property in properties)
        {
            Type inner = ElementOf(property.PropertyType) ?? Nullable.GetUnderlyingType(property.PropertyType) ?? property.PropertyType;
            Describe(inner);
        }
    }

    private Dictionary<string, object?> Field(Type owner, PropertyInfo property, object? defaults)
    {
        FieldAttribute? said = property.GetCustomAttribute<FieldAttribute>();
        (string name, string unit) = FieldName.Of(property);
        Type type = Nullable.GetUnderlyingType(property.PropertyType) ?? property.PropertyType;
        Type? element = ElementOf(type);
        var field = new Dictionary<string, object?>
        {
            ["name"] = name,
            ["key"] = Json.Key(property.Name),
            ["unit"] = unit,
            ["kind"] = KindOf(type, element),
            ["doc"] = texts.Of(owner, property),
        };
        Type core = element ?? type;
        if (core.IsEnum)
        {
            field["choices"] = Enum.GetValues(core).Cast<Enum>().Select(v => new { word = Json.Word(v), doc = texts.Of(core, v.ToString()) }).ToArray();
        }

        if (said?.Flags is Type flags)
        {
            field["flags"] = flags.GetFields(BindingFlags.Public | BindingFlags.Static)
                .Where(f => f.GetCustomAttribute<FlagAttribute>() is not null)
                .Select(f => new
                {
                    bit = Convert.ToInt32(f.GetValue(null), System.Globalization.CultureInfo.InvariantCulture),
                    name = f.GetCustomAttribute<FlagAttribute>()!.Name,
                    doc = texts.Of(flags, f.Name)
                })
                .ToArray();
        }

        if (said is not null && double.IsFinite(said.Low))
        {
            field["low"] = said.Low;
        }

        if (said is not null && double.IsFinite(said.High))
        {
            field["high"] = said.High;
        }

        if (IsRecord(core))
        {
            field["record"] = core.Name;
        }

        field["required"] = property.GetCustomAttribute<RequiredMemberAttribute>() is not null;
        if (defaults is not null && property.CanWrite && property.GetCustomAttribute<RequiredMemberAttribute>() is null)
        {
            object? value = property.GetValue(defaults);
            field["default"] = value switch
            {
                double d => double.IsFinite(d) ? d : null,
                int or bool or string => value,
                Enum e => Json.Word(e),
                _ => null,
            };
        }

        return field;
    }

    /// <summary>What a value is, in the words that the face's generator knows.</summary>
    private static string KindOf(Type type, Type? element)
    {
        if (element is not null)
        {
            int rank = type.IsArray ? type.GetArrayRank() : 1;
            return ResultWriter.DtypeOf(element) is string dtype && (type.IsArray || element != typeof(double)) ? $"array {rank} {dtype}"
                : element == typeof(double) ? "array 1 f8"
                : element == typeof(string) ? "texts"
                : element == typeof(Note) ? "notes"
                : element == typeof(Measured) ? "measured list"
                : element.IsEnum ? "choices"
                : "records";
        }

        return type switch
        {
            _ when type == typeof(double) || type == typeof(float) => "number",
            _ when type == typeof(int) || type == typeof(long) => "integer",
            _ when type == typeof(bool) => "flag",
            _ when type == typeof(string) => "text",
            _ when type == typeof(Measured) => "measured",
            _ when type == typeof(Note) => "note",
            _ when type.IsEnum => "choice",
            _ => "record",
        };
    }
}
