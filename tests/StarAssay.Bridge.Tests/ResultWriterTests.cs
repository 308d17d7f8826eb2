using System.Text.Json;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge.Tests;

/// <summary>Result records as JSON with their arrays set aside.</summary>
public class ResultWriterTests
{
    private sealed record Sample(double Value, double Missing, NoteLevel WorstLevel, Measured Rms, double[] Column, float[,] Map, IReadOnlyList<Note> Notes);

    [Fact]
    public void A_record_keeps_every_field()
    {
        var sample = new Sample(1.5, double.NaN, NoteLevel.Doubt, new Measured(2, 0.1, "nm"), [1, 2, 3], new float[2, 3],
            [new Note("a.b", NoteLevel.Info, "", "A \"quoted\" µ.")]);
        var writer = new ResultWriter();
        string text = writer.Write(sample);
        Assert.Contains("\"missing\":NaN", text, StringComparison.Ordinal);

        JsonElement json = JsonDocument.Parse(text.Replace("NaN", "null", StringComparison.Ordinal)).RootElement;
        Assert.Equal(1.5, json.GetProperty("value").GetDouble());
        Assert.Equal("doubt", json.GetProperty("worst_level").GetString());
        Assert.Equal("nm", json.GetProperty("rms").GetProperty("unit").GetString());
        Assert.Equal("A \"quoted\" µ.", json.GetProperty("notes")[0].GetProperty("text").GetString());
        Assert.Equal(0, json.GetProperty("column").GetProperty("$array").GetInt32());
        Assert.Equal([2, 3], json.GetProperty("map").GetProperty("shape").EnumerateArray().Select(e => e.GetInt32()));
        Assert.Same(sample.Column, writer.Arrays[0].Array);
        Assert.Same(sample.Map, writer.Arrays[1].Array);

        // 24 bytes, then from a multiple of 64 on another 24.
        Assert.Equal((0, 64, 128), (writer.Arrays[0].Offset, writer.Arrays[1].Offset, writer.ArrayBytes));
        Assert.Equal(64, json.GetProperty("map").GetProperty("offset").GetInt64());
    }

    [Fact]
    public void Errors_keep_their_facts_and_lose_their_wrapping()
    {
        string text = ErrorWriter.Write(new AggregateException(new CannotMeasureException("stars.none", "No stars.", "m1.fits")));
        JsonElement json = JsonDocument.Parse(text).RootElement;
        Assert.Equal("cannot-measure", json.GetProperty("kind").GetString());
        Assert.Equal("m1.fits", json.GetProperty("subject").GetString());
        Assert.Equal("No stars.", json.GetProperty("message").GetString());
    }
}
