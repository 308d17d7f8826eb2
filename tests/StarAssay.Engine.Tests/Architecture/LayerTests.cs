using System.Text.RegularExpressions;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Architecture;

/// <summary>The engine's namespaces depend one way, in the compiled code and in the sources.</summary>
public partial class LayerTests
{
    [Fact]
    public void Compiled_types_use_only_lower_floors()
    {
        Type[] types = typeof(Note).Assembly.GetTypes();
        Assert.True(types.Length > 300, $"only {types.Length} types were looked at");
        string[] wrong = [.. from type in types from used in TypeUses.Of(type) let why = Layers.Objection(type.Namespace,
            used.Namespace) where why is not null orderby why select $"{why}: {type.FullName} uses {used.FullName}"];
        Assert.True(wrong.Length == 0, string.Join('\n', wrong));
    }

    // Constants and nameof leave no trace in compiled code.
    [Fact]
    public void Sources_name_only_lower_floors()
    {
        string[] files = [.. Repository.Sources("src/StarAssay.Engine")];
        Assert.True(files.Length > 200, $"only {files.Length} files were looked at");
        string[] wrong = [.. from file in files from problem in ProblemsIn(File.ReadAllText(file)) select $"{Path.GetFileName(file)}: {problem}"];
        Assert.True(wrong.Length == 0, string.Join('\n', wrong));
    }

    /// <summary>A reader sees every line whole.</summary>
    [Fact]
    public void No_line_is_longer_than_160_characters()
    {
        string[] files = [.. Repository.Sources("src/StarAssay.Engine"), .. Repository.Sources("src/StarAssay.Bridge")];
        Assert.True(files.Length > 200, $"only {files.Length} files were looked at");
        string[] wrong = [.. from file in files
            from line in File.ReadLines(file).Select((text, k) => (Text: text, Number: k + 1))
            where line.Text.Length > 160 select $"{Path.GetFileName(file)}:{line.Number}"];
        Assert.True(wrong.Length == 0, string.Join('\n', wrong));
    }

    /// <summary>Kernels are written over the width of the machine's registers: where the widest are named outright, other machines split each
    /// operation, and take two to three times as long.</summary>
    [Fact]
    public void The_widest_registers_are_named_by_the_width_layer_alone()
    {
        string[] layer = ["Lanes512.cs", "Transposition.cs"];
        string[] named = [.. from file in Repository.Sources("src/StarAssay.Engine")
            where Regex.IsMatch(File.ReadAllText(file), @"Vector512(?!\.IsHardwareAccelerated)") select Path.GetFileName(file)];
        Assert.Equal(layer, named.Order(StringComparer.Ordinal));
    }

    [Theory]
    [InlineData("StarAssay.Engine.Numerics", "StarAssay.Engine.Results", true)]
    [InlineData("StarAssay.Engine.Results", "StarAssay.Engine.Numerics", false)]
    [InlineData("StarAssay.Engine.Optics.Views", "StarAssay.Engine.Optics", true)]
    [InlineData("StarAssay.Engine.Imaging", "StarAssay.Engine.Optics", false)]
    [InlineData("StarAssay.Engine.Stars", "StarAssay.Engine.Decisions", false)]
    [InlineData("StarAssay.Engine.Decisions", "StarAssay.Engine.Measurements.Wavefront", true)]
    [InlineData("StarAssay.Engine.Measurements.Wavefront", "StarAssay.Engine.Measurements.ColorFocus", false)]
    [InlineData("StarAssay.Engine.Measurements.Wavefront", "StarAssay.Engine.Measurements", true)]
    [InlineData("StarAssay.Engine.Attic", "StarAssay.Engine.Results", false)]
    [InlineData("StarAssay.Engine.Stars", "System.IO", true)]
    public void The_rule_is_the_drawing(string from, string to, bool allowed) => Assert.Equal(allowed, Layers.Objection(from, to) is null);

    // The check itself: whatever way a type is named, it is seen.
    [Fact]
    public void Uses_are_seen_wherever_they_stand()
    {
        foreach (Type user in typeof(SeenUses).GetNestedTypes(System.Reflection.BindingFlags.NonPublic | System.Reflection.BindingFlags.Public))
        {
            // What the compiler makes of a lambda is a type of its own, nested in its user.
            var seen = TypeUses.Of(user);
            seen.UnionWith(user.GetNestedTypes(System.Reflection.BindingFlags.NonPublic).SelectMany(TypeUses.Of));
            Assert.True(seen.Contains(typeof(Used)), $"{user.Name} uses it unseen: {string.Join(", ", seen)}");
        }

        Assert.DoesNotContain(typeof(Used), TypeUses.Of(typeof(LayerTests.Unrelated)));
    }

    [Theory]
    [InlineData("namespace StarAssay.Engine.Imaging;\nusing StarAssay.Engine.Optics;", false)]
    [InlineData("using static StarAssay.Engine.Decisions.Words;\nnamespace StarAssay.Engine.Stars;", false)]
    [InlineData("using F = StarAssay.Engine.Stars.StarField;\nnamespace StarAssay.Engine.Imaging;", false)]
    [InlineData("namespace StarAssay.Engine.Imaging;\nclass A { int b = Optics.Airy.Rings; }", false)]
    [InlineData("namespace StarAssay.Engine.Imaging;\nclass A { int b = global::StarAssay.Engine.Stars.Stamp.Step; }", false)]
    [InlineData("namespace StarAssay.Engine.Stars;\nclass A { int b = Imaging.PixelCounts.Classes; }", true)]
    [InlineData("namespace StarAssay.Engine.Imaging;\n// Not like Optics.Airy\nclass A { string b = \"Optics.Airy\"; }", true)]
    [InlineData("namespace StarAssay.Engine.Imaging;\nclass A { int b = found.Optics.Length; }", true)]
    public void A_source_that_names_a_higher_floor_is_found(string source, bool allowed) => Assert.Equal(allowed, !ProblemsIn(source).Any());

    private static IEnumerable<string> ProblemsIn(string source)
    {
        string code = CommentsAndTexts().Replace(source, m => m.Value.StartsWith('/') ? " " : "\"\"");
        string room = Namespace().Match(code).Groups[1].Value;
        return from match in Names().Matches(code)
               let to = match.Groups[1].Success ? match.Groups[1].Value : $"{Layers.Root}.{match.Groups[2].Value}"
               let why = Layers.Objection(room, to)
               where why is not null
               select $"{why} ({match.Value.Trim()})";
    }

    [GeneratedRegex("""//[^\n]*|/\*.*?\*/|\$*\"{3}.*?\"{3}|\$?@\$?"(?:[^"]|"")*"|\$?"(?:[^"\\\n]|\\.)*"|'(?:[^'\\]|\\.)+'""", RegexOptions.Singleline)]
    private static partial Regex CommentsAndTexts();

    [GeneratedRegex(@"^namespace\s+([\w.]+)", RegexOptions.Multiline)]
    private static partial Regex Namespace();

    // In full, or from a room on: inside the engine a name of another room may begin there.
    [GeneratedRegex(@"(?<!namespace\s)\b(StarAssay\.Engine\.[\w.]+)|(?<![\w.]\s*\.?\s*)(?<!\.)\b((?:Results|Numerics|Imaging|Optics|Stars|Simulation|Measurements|Decisions)\.[A-Z][\w.]*)")]
    private static partial Regex Names();

    public sealed class Used;

    public sealed class Unrelated
    {
        public int Number { get; init; }
    }

    [AttributeUsage(AttributeTargets.Class)]
    public sealed class MarkAttribute(Type type) : Attribute
    {
        public Type Type => type;
    }

    private static class SeenUses
    {
#pragma warning disable CA1823, CS0169, CA1801, IDE0051, IDE0060, CS0649
        internal sealed class InField
        {
            private readonly List<Used[]>? field;
        }

        internal sealed class InReturn
        {
            public static Used? Make() => null;
        }

        internal sealed class InParameter
        {
            public static void Take(Dictionary<string, Used> used)
            {
            }
        }

        internal sealed class InCode
        {
            public static bool Is(object other) => other is LayerTests.Used;
        }

        internal sealed class InGenericCall
        {
            public static int Count() => Array.Empty<Used>().Length;
        }

        internal sealed class InLambda
        {
            public static Func<object, bool> Make() => o => o is Used;
        }

        internal sealed class InConstraint
        {
            public static void Take<T>()
                where T : IComparable<Used>
            {
            }
        }

        [Mark(typeof(Used))]
        internal sealed class InAttribute
        {
        }

        internal sealed class InInterface : List<Used>
        {
        }
#pragma warning restore
    }
}
