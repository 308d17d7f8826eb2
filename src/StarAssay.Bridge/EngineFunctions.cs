using System.Reflection;
using System.Runtime.ExceptionServices;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge;

/// <summary>
/// Finds the engine's own functions that are marked as tasks and lets Python call them: the request record is read from
/// JSON, and what it wants handed over (frames, arrays) is laid in place.
/// </summary>
internal static class EngineFunctions
{
    /// <summary>Every marked function with its task's name.</summary>
    public static IEnumerable<(string Name, MethodInfo Method)> All =>
        from type in typeof(EngineTaskAttribute).Assembly.GetTypes()
        from method in type.GetMethods(BindingFlags.Public | BindingFlags.Static | BindingFlags.DeclaredOnly)
        let name = method.GetCustomAttribute<EngineTaskAttribute>()?.Name ?? method.GetCustomAttribute<MeasurementAttribute>()?.Name
        where name is not null
        orderby name
        select (name, method);

    /// <summary>The request record of a function, or null when it takes none.</summary>
    public static Type? RequestOf(MethodInfo method) =>
        method.GetParameters().Select(p => p.ParameterType).FirstOrDefault(t => t != typeof(RunContext));

    /// <summary>What is handed over beside the request's plain data.</summary>
    public static IEnumerable<(PropertyInfo Property, string Name)> HandedOver(Type request) =>
        from property in request.GetProperties(BindingFlags.Public | BindingFlags.Instance)
        let mark = property.GetCustomAttribute<HandedOverAttribute>()
        where mark is not null
        select (property, mark.Name);

    /// <summary>A function as a task.</summary>
    public static Func<TaskInput, RunContext, object> AsTask(MethodInfo method)
    {
        Type? request = RequestOf(method);
        (PropertyInfo Property, string Name)[] handed = request is null ? [] : [.. HandedOver(request)];
        Type[] takes = [.. method.GetParameters().Select(p => p.ParameterType)];
        return (input, context) =>
        {
            object? read = request is null ? null : input.Request(request);
            foreach ((PropertyInfo property, string name) in handed)
            {
                if (Lay(input, property.PropertyType, name) is object value)
                {
                    property.SetValue(read, value);
                }
            }

            try
            {
                return method.Invoke(null, [.. takes.Select(t => t == typeof(RunContext) ? context : read)])!;
            }
            catch (TargetInvocationException e) when (e.InnerException is not null)
            {
                ExceptionDispatchInfo.Throw(e.InnerException);
                throw;
            }
        };
    }

    /// <summary>One frame or array in the type that the request wants; null when it was not handed over.</summary>
    private static object? Lay(TaskInput input, Type wanted, string name)
    {
        if (wanted == typeof(IReadOnlyList<Frame>))
        {
            return input.Frames(name);
        }

        if (!input.Has(name))
        {
            return null;
        }

        return wanted switch
        {
            _ when wanted == typeof(Frame) => input.Frame(name),
            _ when wanted == typeof(ReadOnlyMemory<float>) => input.Floats(name),
            _ when wanted == typeof(ReadOnlyMemory<double>) => input.Doubles(name),
            _ when wanted == typeof(double[]) => input.Doubles(name).ToArray(),
            _ when wanted == typeof(Memory<float>) => input.Output(name),
            _ when wanted == typeof(Memory<ushort>) => input.OutputUInt16(name),
            _ => throw new NotSupportedException($"'{name}' is of type {wanted}, which cannot be handed over."),
        };
    }
}
