using System.Reflection;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;
using Xunit;

namespace StarAssay.Engine.Tests.Architecture;

/// <summary>What is measured on a drawn frame while the caller still loads: it must go the whole way that a real measurement goes.</summary>
public class RehearsalTests
{
    private static readonly MethodInfo[] Rehearsals =
    [
        .. typeof(RehearsalAttribute).Assembly.GetTypes()
            .SelectMany(t => t.GetMethods(BindingFlags.Public | BindingFlags.Static | BindingFlags.DeclaredOnly))
            .Where(m => m.IsDefined(typeof(RehearsalAttribute))),
    ];

    [Fact]
    public void EachBelongsToAMeasurementAndReturnsItsResult()
    {
        Dictionary<string, Type> measurements = typeof(RehearsalAttribute).Assembly.GetTypes()
            .SelectMany(t => t.GetMethods(BindingFlags.Public | BindingFlags.Static | BindingFlags.DeclaredOnly))
            .Select(m => (Mark: m.GetCustomAttribute<MeasurementAttribute>(), m.ReturnType))
            .Where(m => m.Mark is not null)
            .ToDictionary(m => m.Mark!.Area, m => m.ReturnType);
        Assert.NotEmpty(Rehearsals);
        Assert.All(Rehearsals, m => Assert.Equal(measurements[m.GetCustomAttribute<RehearsalAttribute>()!.Area], m.ReturnType));
    }

    [Fact]
    public void StarsAreFoundAndSized()
    {
        StarField field = Run<StarField>("stars");

        // Drawn as points of Gaussians of 1.6 pixels: half of the light within 1.6 x sqrt(2 ln 2), less what taking uniform pixels' blur out takes.
        // Eight rows of eight were drawn; a peak of the noise may pass beside them.
        Assert.InRange(field.X.Length, 64, 66);
        Assert.InRange(field.MedianHfr.Value, 1.80, 1.90);
    }

    [Fact]
    public void AWavefrontIsDecided()
    {
        WavefrontFit fit = Run<WavefrontFit>("wavefront");

        // Seven modes of 8 nm were drawn, which are independent over a clear pupil: 21.2 nm.
        Assert.True(fit.Decided);
        Assert.InRange(fit.Rms.Value, 20, 22.5);
    }

    private static T Run<T>(string area) =>
        (T)Rehearsals.Single(m => m.GetCustomAttribute<RehearsalAttribute>()!.Area == area).Invoke(null, [new RunContext(1)])!;
}
