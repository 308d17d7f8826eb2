using System.Text.Json;
using System.Text.Json.Serialization;

namespace StarAssay.Bridge;

/// <summary>How records look as JSON on their way in.</summary>
internal static class Json
{
    public static JsonSerializerOptions Options { get; } = new()
    {
        PropertyNamingPolicy = JsonNamingPolicy.SnakeCaseLower,
        NumberHandling = JsonNumberHandling.AllowNamedFloatingPointLiterals,
        UnmappedMemberHandling = JsonUnmappedMemberHandling.Disallow,
        RespectNullableAnnotations = true,
        Converters = { new JsonStringEnumConverter(JsonNamingPolicy.KebabCaseLower) },
    };

    /// <summary>Options for what the face itself writes beside the request.</summary>
    public static string Key(string property) => JsonNamingPolicy.SnakeCaseLower.ConvertName(property);

    /// <summary>Spelling of enum values in both directions.</summary>
    public static string Word(Enum value) => JsonNamingPolicy.KebabCaseLower.ConvertName(value.ToString());
}
