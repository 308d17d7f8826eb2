using System.Collections.Concurrent;
using System.Reflection;

namespace StarAssay.Engine.Results;

/// <summary>Holds a request against the ranges that its fields declare.</summary>
public static class FieldRules
{
    private static readonly ConcurrentDictionary<Type, (PropertyInfo Property, FieldAttribute Field)[]> Ranges = new();

    /// <summary>Throws at the first number outside its declared range; NaN means "not given" where it is the default.</summary>
    /// <param name="request">A request record.</param>
    /// <exception cref="InputException">Names the field as the user typed it, with the value and the range.</exception>
    public static void Require(object request)
    {
        foreach ((PropertyInfo property, FieldAttribute field) in Ranges.GetOrAdd(request.GetType(), Collect))
        {
            (string name, string unit) = FieldName.Of(property);
            switch (property.GetValue(request))
            {
                case double value when !double.IsNaN(value) || IsRequired(property):
                    InputException.RequireRange(value, field.Low, field.High, name, unit);
                    break;
                case int value:
                    InputException.RequireRange(value, field.Low, field.High, name, unit);
                    break;
                case IEnumerable<double> values:
                    foreach (double value in values)
                    {
                        InputException.RequireRange(value, field.Low, field.High, name, unit);
                    }

                    break;
            }
        }
    }

    private static bool IsRequired(PropertyInfo property) =>
        property.GetCustomAttribute<System.Runtime.CompilerServices.RequiredMemberAttribute>() is not null;

    private static (PropertyInfo Property, FieldAttribute Field)[] Collect(Type type) =>
        [.. from property in type.GetProperties(BindingFlags.Public | BindingFlags.Instance)
            let field = property.GetCustomAttribute<FieldAttribute>()
            where field is not null && (double.IsFinite(field.Low) || double.IsFinite(field.High))
            select (property, field)];
}
