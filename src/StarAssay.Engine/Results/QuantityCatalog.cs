using System.Reflection;

namespace StarAssay.Engine.Results;

/// <summary>Marks a static class whose public static <see cref="QuantityDefinition"/> fields belong to the one list of quantities.</summary>
/// <param name="area">Name of the measurement that gives them.</param>
[AttributeUsage(AttributeTargets.Class)]
public sealed class QuantityListAttribute(string area) : Attribute
{
    /// <summary>Name of the measurement.</summary>
    public string Area { get; } = area;
}

/// <summary>The one list of quantities that claims can be about. Each measurement declares its own in a class marked
/// <see cref="QuantityListAttribute"/>.</summary>
public static class QuantityCatalog
{
    private static readonly Lazy<IReadOnlyList<(string Area, QuantityDefinition Definition)>> Entries = new(Collect);

    /// <summary>Every kind of quantity with the measurement that gives it, in the order of declaration.</summary>
    public static IReadOnlyList<(string Area, QuantityDefinition Definition)> All => Entries.Value;

    /// <summary>The kind of that name.</summary>
    public static QuantityDefinition Find(string name)
    {
        foreach ((_, QuantityDefinition definition) in All)
        {
            if (definition.Name == name)
            {
                return definition;
            }
        }

        throw new InputException("decision.quantity", $"No measurement gives a quantity '{name}'. Known are " +
            $"{string.Join(", ", All.Select(q => q.Definition.Name))}.", "quantity");
    }

    private static (string Area, QuantityDefinition Definition)[] Collect() =>
        [.. from type in typeof(QuantityCatalog).Assembly.GetTypes()
            let list = type.GetCustomAttribute<QuantityListAttribute>()
            where list is not null
            orderby list.Area
            from field in type.GetFields(BindingFlags.Public | BindingFlags.Static)
            where field.FieldType == typeof(QuantityDefinition)
            select (list.Area, (QuantityDefinition)field.GetValue(null)!)];
}
