using System.Numerics;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>Polynomials over the sensor, from plain to rich; z = u + i v from the middle over half the diagonal.</summary>
internal static class FieldTerms
{
    /// <summary>For a squared width.</summary>
    public static IReadOnlyList<FieldTerm[]> Sizes { get; } = MakeSizes();

    /// <summary>For second moments, those of the long axis less those of the short one times exp(2 i angle): what turns with the direction to the middle
    /// goes with z^2.</summary>
    public static IReadOnlyList<FieldTerm[]> Shapes { get; } = MakeShapes();

    /// <summary>For lopsidedness, which turns once: coma's goes with z and z |z|^2.</summary>
    public static IReadOnlyList<FieldTerm[]> Tails { get; } =
    [
        [.. Both(_ => Complex.One)], [.. Both(_ => Complex.One), z => z], [.. Both(_ => Complex.One), z => z, z => z * Square(z)],
        [.. Both(_ => Complex.One), .. Both(z => z), .. Both(Complex.Conjugate), z => z * Square(z)],
    ];

    private static double Square(Complex z) => (z.Real * z.Real) + (z.Imaginary * z.Imaginary);

    /// <summary>Both parts of a complex unknown are two real ones.</summary>
    private static FieldTerm[] Both(Func<Complex, Complex> f) => [z => f(z), z => Complex.ImaginaryOne * f(z)];

    private static FieldTerm[] Powers(int order) =>
        [.. from n in Enumerable.Range(0, order + 1) from k in Enumerable.Range(0, n + 1) select Power(n - k, k)];

    private static FieldTerm Power(int a, int b) => z => Whole(z.Real, a) * Whole(z.Imaginary, b);

    private static double Whole(double x, int n)
    {
        double product = 1;
        for (; n > 0; n--)
        {
            product *= x;
        }

        return product;
    }

    private static List<FieldTerm[]> MakeSizes()
    {
        FieldTerm r2 = z => Square(z), r4 = z => Square(z) * Square(z), u = z => z.Real, v = z => z.Imaginary;
        FieldTerm ur2 = z => z.Real * Square(z), vr2 = z => z.Imaginary * Square(z);
        return
        [
            Powers(0), Powers(1), [.. Powers(0), r2], [.. Powers(0), r2, r4], [.. Powers(1), r2], [.. Powers(1), r2, r4], Powers(2),
            [.. Powers(2), ur2, vr2, r4], Powers(3), Powers(4),
        ];
    }

    private static List<FieldTerm[]> MakeShapes()
    {
        FieldTerm[] constant = Both(_ => Complex.One), linear = [.. Both(z => z), .. Both(Complex.Conjugate)];
        FieldTerm[] quadratic = [.. Both(z => z * z), .. Both(z => Square(z)), .. Both(z => Complex.Conjugate(z * z))];
        FieldTerm[] cubic = [.. Both(z => z * z * z), .. Both(z => z * Square(z)), .. Both(z => Complex.Conjugate(z) * Square(z)),
            .. Both(z => Complex.Conjugate(z * z * z))];
        FieldTerm radial = z => z * z, radial4 = z => z * z * Square(z);
        return
        [
            constant, [.. constant, radial], [.. constant, radial, radial4], [.. constant, .. linear], [.. constant, .. linear, radial],
            [.. constant, .. linear, .. quadratic], [.. constant, .. linear, .. quadratic, radial4], [.. constant, .. linear, .. quadratic, .. cubic],
        ];
    }
}
