using System.Reflection.Metadata;
using System.Reflection.PortableExecutable;

namespace StarAssay.Engine.Tests.Architecture;

/// <summary>What a compiled assembly takes from outside, from its own tables of references: each type, and each member of a type.</summary>
internal static class OutsideUses
{
    /// <summary>Types as "Namespace.Name", members as "Namespace.Name.Member/number of parameters".</summary>
    public static SortedSet<string> Of(string assemblyFile)
    {
        using FileStream stream = File.OpenRead(assemblyFile);
        using var file = new PEReader(stream);
        MetadataReader reader = file.GetMetadataReader();
        var found = new SortedSet<string>(StringComparer.Ordinal);
        foreach (TypeReferenceHandle handle in reader.TypeReferences)
        {
            found.Add(Name(reader, handle));
        }

        foreach (MemberReferenceHandle handle in reader.MemberReferences)
        {
            MemberReference member = reader.GetMemberReference(handle);
            if (member.Parent.Kind == HandleKind.TypeReference)
            {
                found.Add($"{Name(reader, (TypeReferenceHandle)member.Parent)}.{reader.GetString(member.Name)}/{Parameters(reader, member)}");
            }
        }

        return found;
    }

    private static string Name(MetadataReader reader, TypeReferenceHandle handle)
    {
        TypeReference type = reader.GetTypeReference(handle);
        string name = reader.GetString(type.Name);
        return type.ResolutionScope.Kind == HandleKind.TypeReference ? $"{Name(reader, (TypeReferenceHandle)type.ResolutionScope)}.{name}"
            : $"{reader.GetString(type.Namespace)}.{name}";
    }

    private static int Parameters(MetadataReader reader, MemberReference member)
    {
        BlobReader blob = reader.GetBlobReader(member.Signature);
        SignatureHeader header = blob.ReadSignatureHeader();
        if (header.Kind == SignatureKind.Field)
        {
            return 0;
        }

        if (header.IsGeneric)
        {
            blob.ReadCompressedInteger();
        }

        return blob.ReadCompressedInteger();
    }
}
