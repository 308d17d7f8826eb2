using System.Reflection;
using System.Runtime.CompilerServices;

namespace StarAssay.Engine.Tests.Architecture;

/// <summary>What an assembly shows to programs, one line for each type and member, in a fixed order.</summary>
internal static class PublicSurface
{
    private const BindingFlags Declared =
        BindingFlags.Public | BindingFlags.NonPublic | BindingFlags.Static | BindingFlags.Instance | BindingFlags.DeclaredOnly;

    private static readonly Dictionary<Type, string> Keywords = new()
    {
        [typeof(void)] = "void",
        [typeof(object)] = "object",
        [typeof(string)] = "string",
        [typeof(bool)] = "bool",
        [typeof(byte)] = "byte",
        [typeof(sbyte)] = "sbyte",
        [typeof(short)] = "short",
        [typeof(ushort)] = "ushort",
        [typeof(int)] = "int",
        [typeof(uint)] = "uint",
        [typeof(long)] = "long",
        [typeof(ulong)] = "ulong",
        [typeof(float)] = "float",
        [typeof(double)] = "double",
    };

    /// <summary>The lines. What the compiler adds to every record is left out.</summary>
    public static string[] Of(Assembly assembly) =>
    [
        .. from type in assembly.GetExportedTypes()
           orderby type.FullName
           from line in new[] { Head(type) }.Concat(Members(type).Select(m => $"  {m}").Order(StringComparer.Ordinal))
           select line,
    ];

    private static string Head(Type type)
    {
        string kind = type.IsEnum ? "enum" : type.IsInterface ? "interface" : type.IsValueType ? "struct" : type.IsSubclassOf(typeof(Delegate)) ? "delegate"
            : type.IsAbstract && type.IsSealed ? "static class" : type.IsAbstract ? "abstract class" : type.IsSealed ? "sealed class" : "class";
        IEnumerable<Type> bases = type.GetInterfaces().Where(i => i.IsPublic && !IsOfRecords(i) && !type.IsEnum);
        if (type.BaseType is { } parent && parent != typeof(object) && parent != typeof(ValueType) && parent != typeof(Enum))
        {
            bases = bases.Prepend(parent);
        }

        string inherited = string.Join(", ", bases.Select(Name).Order(StringComparer.Ordinal));
        return $"{kind} {type.Namespace}.{Name(type)}{(inherited.Length > 0 ? $" : {inherited}" : "")}";
    }

    private static bool IsOfRecords(Type type) => type.IsGenericType && type.GetGenericTypeDefinition() == typeof(IEquatable<>);

    private static IEnumerable<string> Members(Type type)
    {
        foreach (MemberInfo member in type.GetMembers(Declared).Where(m => !m.IsDefined(typeof(CompilerGeneratedAttribute)) || m is FieldInfo))
        {
            switch (member)
            {
                case FieldInfo { IsSpecialName: false } field when Shown(field.Attributes & FieldAttributes.FieldAccessMask):
                    yield return type.IsEnum ? $"{field.Name} = {Convert.ToInt64(field.GetRawConstantValue())}"
                        : $"{(field.IsLiteral ? $"const {Name(field.FieldType)} {field.Name} = {field.GetRawConstantValue()}" : $"{(field.IsStatic ? "static " : "")}{(field.IsInitOnly ? "readonly " : "")}{Name(field.FieldType)} {field.Name}")}";
                    break;
                case PropertyInfo property when property.GetAccessors(true).Any(Shown):
                    yield return Property(property);
                    break;
                case EventInfo @event when @event.AddMethod is { } add && Shown(add):
                    yield return $"event {Name(@event.EventHandlerType!)} {@event.Name}";
                    break;
                case ConstructorInfo { IsStatic: false } constructor when Shown(constructor):
                    yield return $"new({Parameters(constructor)})";
                    break;
                case MethodInfo method when Shown(method) && (!method.IsSpecialName || method.Name.StartsWith("op_", StringComparison.Ordinal)):
                    string generic = method.IsGenericMethod ? $"<{string.Join(", ", method.GetGenericArguments().Select(Name))}>" : "";
                    yield return $"{(method.IsStatic ? "static " : "")}{(method.IsFamily ? "protected " : "")}{Name(method.ReturnType)} " +
                        $"{method.Name}{generic}({Parameters(method)})";
                    break;
            }
        }
    }

    private static string Property(PropertyInfo property)
    {
        bool required = property.IsDefined(typeof(RequiredMemberAttribute));
        MethodInfo accessor = property.GetAccessors(true)[0];
        string set = property.SetMethod is not { } setter || !Shown(setter) ? ""
            : setter.ReturnParameter.GetRequiredCustomModifiers().Contains(typeof(IsExternalInit)) ? " init;" : " set;";
        string index = property.GetIndexParameters() is { Length: > 0 } at ? $"[{string.Join(", ", at.Select(p => Name(p.ParameterType)))}]" : "";
        return $"{(accessor.IsStatic ? "static " : "")}{(required ? "required " : "")}{Name(property.PropertyType)} {property.Name}{index} " +
            $"{{{(property.GetMethod is { } getter && Shown(getter) ? " get;" : "")}{set} }}";
    }

    private static bool Shown(MethodBase method) => method.IsPublic || method.IsFamily || method.IsFamilyOrAssembly;

    private static bool Shown(FieldAttributes access) => access is FieldAttributes.Public or FieldAttributes.Family or FieldAttributes.FamORAssem;

    private static string Parameters(MethodBase method) => string.Join(", ", method.GetParameters().Select(p =>
        $"{(p.IsDefined(typeof(ParamArrayAttribute)) ? "params " : "")}{(p.ParameterType.IsByRef ? p.IsOut ? "out " : p.IsIn ? "in " : "ref " : "")}{Name(p.ParameterType)} {p.Name}{(p.HasDefaultValue ? $" = {p.RawDefaultValue ?? "default"}" : "")}"));

    private static string Name(Type type)
    {
        if (type.IsByRef)
        {
            return Name(type.GetElementType()!);
        }

        if (type.IsArray)
        {
            return $"{Name(type.GetElementType()!)}[{new string(',', type.GetArrayRank() - 1)}]";
        }

        if (type.IsPointer)
        {
            return $"{Name(type.GetElementType()!)}*";
        }

        if (Nullable.GetUnderlyingType(type) is { } value)
        {
            return $"{Name(value)}?";
        }

        if (Keywords.TryGetValue(type, out string? keyword))
        {
            return keyword;
        }

        string own = type.Name.Split('`')[0], outer = type.IsNested && !type.IsGenericParameter ? $"{Name(type.DeclaringType!)}." : "";
        return outer + own + (type.IsGenericType ? $"<{string.Join(", ", type.GetGenericArguments().Select(Name))}>" : "");
    }
}
