using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>When the focuser was moved, and how focus drifts.</summary>
internal sealed class FocusHistory
{
    // Above this share of frames before which it moved, something follows the focus, and no place is one of refocusing.
    private const double MostMoved = 0.34;

    private FocusHistory(int n)
    {
        Moved = new bool[n];
        Since = new double[n];
    }

    /// <summary>Before which frames the focuser was moved.</summary>
    public bool[] Moved { get; }

    /// <summary>Hours since it was moved, or since the first frame.</summary>
    public double[] Since { get; }

    /// <summary>Whether every frame has a position.</summary>
    public bool Known { get; private init; }

    /// <summary>Whether it moved between most frames.</summary>
    public bool Followed { get; private set; }

    /// <summary>Whether it was moved and stood still for frames after.</summary>
    public bool Refocused => Known && !Followed && Moved.Any(m => m);

    /// <summary>Typical time between two moves, hours.</summary>
    public double Interval { get; private set; } = double.NaN;

    /// <summary>Reads the positions.</summary>
    public static FocusHistory Of(double[] time, double[] focus)
    {
        int n = time.Length;
        var found = new FocusHistory(n) { Known = focus.Length == n && focus.All(double.IsFinite) };
        var lengths = new List<double>();
        int start = 0;
        for (int i = 0; i < n; i++)
        {
            if (found.Known && i > 0 && Math.Abs(focus[i] - focus[i - 1]) > 1e-6)
            {
                found.Moved[i] = true;
                lengths.Add(time[i - 1] - time[start]);
                start = i;
            }

            found.Since[i] = time[i] - time[start];
        }

        lengths.Add(time[n - 1] - time[start]);
        found.Interval = Robust.Median(lengths);
        found.Followed = found.Moved.Count(m => m) > MostMoved * n;
        return found;
    }

    /// <summary>How far the sensor must stand from focus to make a star grow from one width to another, um; NaN where that is not known.</summary>
    public static double Shift(NightConditionsRequest request, double wavelengthNm, double fromArcsec, double toArcsec)
    {
        if (double.IsNaN(request.ApertureMm) || double.IsNaN(request.FocalLengthMm) || !(toArcsec > fromArcsec))
        {
            return toArcsec > fromArcsec ? double.NaN : 0;
        }

        // What of the narrower width is air and what diffraction matters little: all but the perfect telescope's is given to the air.
        double air = new AirWidth(request.ApertureMm, request.Obstruction, wavelengthNm).Of(fromArcsec).Width;
        double Width(double defocusNm) => FocusedWidth.Arcsec(new FocusedWidthRequest
        {
            Pupil = new PupilShape { Obstruction = request.Obstruction },
            ApertureMm = request.ApertureMm,
            WavelengthNm = wavelengthNm,
            SeeingFwhmArcsec = air,
            DefocusNm = defocusNm,
        });
        double goal = Width(0) * toArcsec / fromArcsec, low = 0, high = 0.25 * wavelengthNm;
        while (Width(high) < goal && high < 100 * wavelengthNm)
        {
            (low, high) = (high, 2 * high);
        }

        for (int k = 0; k < 12; k++)
        {
            double middle = (low + high) / 2;
            (low, high) = Width(middle) < goal ? (middle, high) : (low, middle);
        }

        return Defocus.ShiftUm((low + high) / 2, request.FocalLengthMm / request.ApertureMm);
    }
}
