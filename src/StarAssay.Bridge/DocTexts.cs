using System.Reflection;
using System.Text.RegularExpressions;
using System.Xml.Linq;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge;

/// <summary>The XML texts that lie beside an assembly, as plain sentences.</summary>
internal sealed partial class DocTexts
{
    private readonly Dictionary<string, XElement> members;

    private DocTexts(Dictionary<string, XElement> members) => this.members = members;

    /// <summary>Reads them; where the file is missing every text is empty.</summary>
    public static DocTexts Read(Assembly assembly)
    {
        string path = Path.ChangeExtension(assembly.Location, ".xml");
        return new DocTexts(!File.Exists(path) ? [] : XDocument.Load(path).Descendants("member")
            .Where(m => m.Attribute("name") is not null)
            .GroupBy(m => m.Attribute("name")!.Value)
            .ToDictionary(g => g.Key, g => g.First(), StringComparer.Ordinal));
    }

    /// <summary>Summary of a type.</summary>
    public string Of(Type type) => Summary($"T:{Full(type)}");

    /// <summary>Summary of a function; its parameters are left aside.</summary>
    public string Of(MethodInfo method)
    {
        string start = $"M:{Full(method.DeclaringType!)}.{method.Name}(";
        string? key = members.Keys.FirstOrDefault(k => k.StartsWith(start, StringComparison.Ordinal));
        return key is null ? string.Empty : Summary(key);
    }

    /// <summary>Summary of a property; of a positional record's the text of its parameter.</summary>
    public string Of(Type owner, PropertyInfo property)
    {
        string own = Summary($"P:{Full(owner)}.{property.Name}");
        if (own.Length > 0 || !members.TryGetValue($"T:{Full(owner)}", out XElement? type))
        {
            return own;
        }

        XElement? parameter = type.Elements("param").FirstOrDefault(p => p.Attribute("name")?.Value == property.Name);
        return parameter is null ? string.Empty : Plain(parameter);
    }

    /// <summary>Summary of an enumeration's value.</summary>
    public string Of(Type enumeration, string value) => Summary($"F:{Full(enumeration)}.{value}");

    private static string Full(Type type) => type.FullName!.Replace('+', '.');

    private static string Plain(XElement element)
    {
        var text = new System.Text.StringBuilder();
        foreach (XNode node in element.Nodes())
        {
            text.Append(node switch
            {
                XText t => t.Value,
                XElement { Name.LocalName: "see" } see => Name(see),
                XElement e => e.Value,
                _ => string.Empty,
            });
        }

        return Spaces().Replace(text.ToString(), " ").Trim();
    }

    /// <summary>A reference by its public name: "P:...OuterRadiusPx" is outer_radius to the reader.</summary>
    private static string Name(XElement see)
    {
        string target = see.Attribute("cref")?.Value ?? see.Attribute("langword")?.Value ?? string.Empty;
        string last = target[(target.LastIndexOf('.') + 1)..];
        return target.StartsWith("P:", StringComparison.Ordinal) ? $"`{FieldName.Of(last).Name}`" : last;
    }

    private string Summary(string member) =>
        members.TryGetValue(member, out XElement? found) && found.Element("summary") is XElement summary ? Plain(summary) : string.Empty;

    [GeneratedRegex(@"\s+")]
    private static partial Regex Spaces();
}
