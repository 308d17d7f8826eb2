using System.Collections.Frozen;
using System.Reflection;
using System.Reflection.Emit;

namespace StarAssay.Engine.Tests.Architecture;

/// <summary>Which types a compiled type mentions: in its declaration, its members' signatures, its attributes and its code. Constants
/// leave no trace in compiled code; the sources' using lines are looked at for those.</summary>
internal static class TypeUses
{
    private const BindingFlags All = BindingFlags.Public | BindingFlags.NonPublic | BindingFlags.Static | BindingFlags.Instance | BindingFlags.DeclaredOnly;

    private static readonly FrozenDictionary<short, OpCode> Codes =
        typeof(OpCodes).GetFields().Select(f => (OpCode)f.GetValue(null)!).ToFrozenDictionary(code => code.Value);

    /// <summary>All types mentioned, each once; arrays, pointers and generic types by what they are made of.</summary>
    public static HashSet<Type> Of(Type type)
    {
        var used = new HashSet<Type>();
        void Note(Type? t) => Add(used, t);
        Note(type.BaseType);
        Array.ForEach(type.GetInterfaces(), Note);
        foreach (Type constraint in type.GetGenericArguments().Where(a => a.IsGenericParameter).SelectMany(a => a.GetGenericParameterConstraints()))
        {
            Note(constraint);
        }

        Attributes(type, Note);
        foreach (MemberInfo member in type.GetMembers(All))
        {
            Attributes(member, Note);
            Member(member, Note);
            if (member is MethodBase method)
            {
                Array.ForEach(method.GetParameters(), p => Attributes(p, Note));
                Code(method, Note);
            }
        }

        used.Remove(type);
        return used;
    }

    private static void Add(HashSet<Type> used, Type? type)
    {
        if (type is null || type.IsGenericParameter)
        {
            return;
        }

        if (type.HasElementType)
        {
            Add(used, type.GetElementType());
            return;
        }

        if (type.IsGenericType && !type.IsGenericTypeDefinition)
        {
            Array.ForEach(type.GetGenericArguments(), argument => Add(used, argument));
            type = type.GetGenericTypeDefinition();
        }

        used.Add(type);
    }

    private static void Member(MemberInfo member, Action<Type?> note)
    {
        switch (member)
        {
            case Type nested:
                note(nested);
                break;
            case FieldInfo field:
                note(field.FieldType);
                break;
            case PropertyInfo property:
                note(property.PropertyType);
                break;
            case EventInfo @event:
                note(@event.EventHandlerType);
                break;
            case MethodBase method:
                note((method as MethodInfo)?.ReturnType);
                Array.ForEach(method.GetParameters(), p => note(p.ParameterType));
                if (method.IsGenericMethod)
                {
                    Array.ForEach(method.GetGenericArguments(), note);
                    Array.ForEach([.. method.GetGenericArguments().Where(a => a.IsGenericParameter).SelectMany(a => a.GetGenericParameterConstraints())], note);
                }

                break;
        }
    }

    private static void Attributes(ICustomAttributeProvider holder, Action<Type?> note)
    {
        IList<CustomAttributeData> data = holder switch
        {
            MemberInfo member => member.GetCustomAttributesData(),
            ParameterInfo parameter => parameter.GetCustomAttributesData(),
            _ => [],
        };
        foreach (CustomAttributeData attribute in data)
        {
            note(attribute.AttributeType);
            foreach (CustomAttributeTypedArgument argument in attribute.ConstructorArguments.Concat(attribute.NamedArguments.Select(a => a.TypedValue)))
            {
                note(argument.ArgumentType);
                note(argument.Value as Type);
            }
        }
    }

    private static void Code(MethodBase method, Action<Type?> note)
    {
        if (method.GetMethodBody() is not { } body || body.GetILAsByteArray() is not { } il)
        {
            return;
        }

        foreach (LocalVariableInfo local in body.LocalVariables)
        {
            note(local.LocalType);
        }

        foreach (ExceptionHandlingClause clause in body.ExceptionHandlingClauses.Where(c => c.Flags == ExceptionHandlingClauseOptions.Clause))
        {
            note(clause.CatchType);
        }

        Type[] ofType = method.DeclaringType?.GetGenericArguments() ?? [], ofMethod = method.IsGenericMethod ? method.GetGenericArguments() : [];
        for (int at = 0; at < il.Length;)
        {
            // The two-byte codes all begin with FE (ECMA-335, partition III, table 1.9).
            short value = il[at++];
            OpCode code = Codes[value == 0xFE ? unchecked((short)((value << 8) | il[at++])) : value];
            if (code.OperandType is OperandType.InlineField or OperandType.InlineMethod or OperandType.InlineTok or OperandType.InlineType)
            {
                MemberInfo member = method.Module.ResolveMember(BitConverter.ToInt32(il, at), ofType, ofMethod)!;
                note(member as Type ?? member.DeclaringType);
                Member(member is Type ? typeof(void) : member, note);
            }

            at += code.OperandType switch
            {
                OperandType.InlineNone => 0,
                OperandType.ShortInlineBrTarget or OperandType.ShortInlineI or OperandType.ShortInlineVar => 1,
                OperandType.InlineVar => 2,
                OperandType.InlineI8 or OperandType.InlineR => 8,
                OperandType.InlineSwitch => 4 + (4 * BitConverter.ToInt32(il, at)),
                _ => 4,
            };
        }
    }
}
