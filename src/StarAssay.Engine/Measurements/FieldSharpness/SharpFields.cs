using StarAssay.Engine.Numerics;
using Complex = System.Numerics.Complex;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>FWHM, half-flux radius and lengthening as smooth fields over the sensor; z from the middle over half the diagonal.</summary>
/// <remarks>
/// Squared widths add up, and so do second moments, that is lengthening times the squared half-flux radius: of defocus and coma that change evenly
/// over the field these are polynomials of the fourth order. Half-flux radii and widths of real images follow that only roughly, and logarithms
/// of widths and lengthening by itself are as smooth. Both are fitted; a number is their mean, and half of their difference is part of its
/// uncertainty. So is a share of what the field changes by between the outermost stars and a place beyond them.
/// </remarks>
internal sealed class SharpFields
{
    // A squared width that a polynomial would take below this share of the median is held there, and a logarithm within its like.
    private const double Least = 0.04, MostLog = 1.6;

    // What is not known of the field's change beyond the outermost stars, a share of that change (drawn fields).
    private const double Beyond = 0.3;

    // So many stars stand farther out than the outermost place that counts as seen.
    private const int Outer = 4;

    private readonly AveragedField fwhm2, fwhmLog, hfr2, hfrLog, moment, shape;
    private readonly double usualFwhm, usualHfr, reach;

    private SharpFields(SharpStars stars)
    {
        int[] wide = [.. Enumerable.Range(0, stars.Rows.Length).Where(k => stars.FwhmUm[k] > 0 && double.IsFinite(stars.FwhmRelative[k]))];
        Complex[] wides = [.. wide.Select(k => stars.Place[k])];
        (fwhm2, fwhmLog, usualFwhm) = Widths(wides, [.. wide.Select(k => stars.FwhmUm[k])], [.. wide.Select(k => stars.FwhmRelative[k])]);
        (hfr2, hfrLog, usualHfr) = Widths(stars.Place, stars.HfrUm, stars.HfrRelative);
        double[] size = [.. stars.Place.Select(Size2)], error = [.. stars.ShapeError.Select(e => Math.Max(e, 1e-4))];
        Complex[] moments = [.. stars.Moments.Select((e, k) => e * size[k])];
        moment = AveragedField.Fit(stars.Place, moments, [.. error.Select((e, k) => e * size[k])], 2, FieldTerms.Shapes);
        shape = AveragedField.Fit(stars.Place, stars.Shape, error, 2, FieldTerms.Shapes);
        reach = wides.Select(z => z.Magnitude).OrderDescending().ElementAt(Math.Min(Outer, wides.Length - 1));
    }

    /// <summary>Relative scatter of single stars' FWHM about the field beyond their uncertainties.</summary>
    public double FwhmScatter => fwhmLog.Scatter;

    /// <summary>The same of half-flux radii.</summary>
    public double HfrScatter => hfrLog.Scatter;

    /// <summary>Scatter of either component of the lengthening.</summary>
    public double ShapeScatter => shape.Scatter;

    /// <summary>Fits the fields.</summary>
    public static SharpFields Of(SharpStars stars) => new(stars);

    /// <summary>FWHM at a place, um.</summary>
    public double Fwhm(Complex z) => 0.5 * usualFwhm * (Root(fwhm2.At(z)) + Power(fwhmLog.At(z)));

    /// <summary>Half-flux radius at a place, um.</summary>
    public double Hfr(Complex z) => 0.5 * usualHfr * (Root(hfr2.At(z)) + Power(hfrLog.At(z)));

    /// <summary>Lengthening (a^2 - b^2) / (a^2 + b^2) with the angle doubled.</summary>
    public Complex Moments(Complex z) => moment.At(z) / Size2(z);

    /// <summary>A number read off the FWHM, um.</summary>
    public (double Value, double Sigma) OfFwhm(Func<Func<Complex, double>, double> read) => Both(fwhm2, fwhmLog, usualFwhm, read);

    /// <summary>A number read off the half-flux radius, um.</summary>
    public (double Value, double Sigma) OfHfr(Func<Func<Complex, double>, double> read) => Both(hfr2, hfrLog, usualHfr, read);

    /// <summary>A number read off the lengthening, 1 - b/a with the angle doubled.</summary>
    public (double Value, double Sigma) OfShape(Func<Func<Complex, Complex>, double> read)
    {
        // The sizes are the same for every step of the moments' unknowns.
        var sizes = new Dictionary<Complex, double>();
        double At(Complex z) => sizes.TryGetValue(z, out double known) ? known : sizes[z] = Size2(z);
        return Joined(
            moment.Of(f => read(z => SharpStars.FromMoments(f(z) / At(z)))),
            shape.Of(read),
            read(z => SharpStars.FromMoments(moment.At(Seen(z)) / Size2(Seen(z)))),
            read(z => shape.At(Seen(z))));
    }

    private static double Root(Complex square) => Math.Sqrt(Math.Max(square.Real, Least));

    private static double Power(Complex log) => Math.Exp(Math.Clamp(log.Real, -MostLog, MostLog));

    private static (AveragedField Square, AveragedField Log, double Usual) Widths(Complex[] place, double[] size, double[] relative)
    {
        double usual = Robust.Median(size);
        double[] square = [.. size.Select(s => s * s / (usual * usual))], error = [.. relative.Select(r => Math.Max(r, 1e-3))];
        return (AveragedField.Fit(place, [.. square.Select(s => (Complex)s)], [.. square.Select((s, k) => 2 * error[k] * s)], 1, FieldTerms.Sizes),
            AveragedField.Fit(place, [.. size.Select(s => (Complex)Math.Log(s / usual))], error, 1, FieldTerms.Sizes), usual);
    }

    private static (double Value, double Sigma) Joined((double Value, double Sigma) one, (double Value, double Sigma) other, double oneSeen, double otherSeen)
    {
        double value = 0.5 * (one.Value + other.Value), apart = 0.5 * (one.Value - other.Value), outside = Beyond * (value - (0.5 * (oneSeen + otherSeen)));
        return (value, Math.Sqrt((0.5 * ((one.Sigma * one.Sigma) + (other.Sigma * other.Sigma))) + (apart * apart) + (outside * outside)));
    }

    private (double Value, double Sigma) Both(AveragedField squares, AveragedField logs, double usual, Func<Func<Complex, double>, double> read) => Joined(
        squares.Of(f => read(z => usual * Root(f(z)))),
        logs.Of(f => read(z => usual * Power(f(z)))),
        read(z => usual * Root(squares.At(Seen(z)))),
        read(z => usual * Power(logs.At(Seen(z)))));

    /// <summary>A place, drawn in to the outermost that stars show.</summary>
    private Complex Seen(Complex z) => z.Magnitude > reach ? z * (reach / z.Magnitude) : z;

    private double Size2(Complex z) => Math.Max(hfr2.At(z).Real, Least);
}
