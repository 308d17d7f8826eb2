using System.Globalization;
using System.Text.RegularExpressions;
using MathNet.Numerics;
using MathNet.Numerics.RootFinding;
using StarAssay.Example;

namespace StarAssay.Engine.Tests;

/// <summary>The C# example is run as its user runs it, and what it prints is held against what it drew.</summary>
public partial class ExampleTests
{
    private static (int Code, string Text) Run(params string[] args)
    {
        TextWriter before = Console.Out;
        using var caught = new StringWriter(CultureInfo.InvariantCulture);
        try
        {
            Console.SetOut(caught);
            return (Program.Main(args), caught.ToString());
        }
        finally
        {
            Console.SetOut(before);
        }
    }

    private static double Number(Regex pattern, string text) =>
        double.Parse(pattern.Match(text).Groups[1].ValueSpan, CultureInfo.InvariantCulture);

    /// <summary>Half-flux radius of the light within an outer radius, arcsec: encircled energy 2 pi r sum of T(x) J1(2 pi r x) dx over the
    /// transfer T of telescope (clear circle) and Kolmogorov seeing (Fried 1966), plain sums; x in apertures.</summary>
    private static double ClosedForm(double apertureMm, double wavelengthNm, double seeingArcsec, double seeingNm, double outerArcsec)
    {
        double unit = wavelengthNm * 1e-6 / apertureMm * 206264.806;
        double r0 = 0.975863 * wavelengthNm * 1e-6 / (seeingArcsec * Math.Pow(seeingNm / wavelengthNm, 0.2) / 206264.806);
        double Inside(double r)
        {
            const int Steps = 4000;
            double sum = 0;
            for (int k = 0; k < Steps; k++)
            {
                double x = (k + 0.5) / Steps;
                double transfer = 2 / Math.PI * (Math.Acos(x) - (x * Math.Sqrt(1 - (x * x)))) * Math.Exp(-3.44 * Math.Pow(x * apertureMm / r0, 5.0 / 3));
                sum += transfer * SpecialFunctions.BesselJ(1, 2 * Math.PI * r / unit * x) / Steps;
            }

            return 2 * Math.PI * r / unit * sum;
        }

        return Brent.FindRoot(r => Inside(r) - (0.5 * Inside(outerArcsec)), 0.1, outerArcsec, 1e-6);
    }

    [Fact]
    public void A_program_without_Python_reaches_a_verdict_on_what_it_drew()
    {
        (int code, string text) = Run("2.5");

        // Drawn: 115 mm, 500 to 600 nm, 3 arcsec at 500 nm. Pixels of 1 arcsec, whose blur is taken out, allow 2 %.
        double found = Number(Found(), text), drawn = ClosedForm(115, 550, 3, 500, Number(Within(), text));
        Assert.Equal(drawn, found, 0.02 * drawn);
        Assert.Contains("sharp stars, at most 2.5 arcsec: Met", text, StringComparison.Ordinal);
        Assert.Contains("the probability that the requirement is met is more than 99.9 %", text, StringComparison.Ordinal);
        Assert.Equal(0, code);

        (code, text) = Run((0.9 * drawn).ToString("F2", CultureInfo.InvariantCulture));
        Assert.Contains(": NotMet", text, StringComparison.Ordinal);
        Assert.Equal(1, code);

        // On the limit nothing is decided, and what would decide it is said.
        (code, text) = Run(found.ToString("F3", CultureInfo.InvariantCulture));
        Assert.Contains(": NotDecided", text, StringComparison.Ordinal);
        Assert.Contains("decide it", text, StringComparison.Ordinal);
        Assert.Equal(2, code);
    }

    [GeneratedRegex("half-flux radius, median: ([0-9.]+)")]
    private static partial Regex Found();

    [GeneratedRegex("of the light within ([0-9.]+)")]
    private static partial Regex Within();
}
