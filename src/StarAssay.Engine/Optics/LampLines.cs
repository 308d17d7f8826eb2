using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>Lines of calibration lamps and of stars, nm in standard air.</summary>
/// <remarks>
/// Ne, Ar, Hg, He: NIST "Handbook of Basic Atomic Spectroscopic Data" (Ne Saloman and Sansonetti 2004; Ar Norlen 1973; Hg
/// Burns, Adams and Longwell 1950; He Martin 1960). Kr, Cd: NIST, from vacuum lists converted to air. Xe: NIST values from
/// memory, those that a published list (vacuum, NIST) also holds checked against it in the tests, and all of them by the residuals on a real lamp frame.
/// Hydrogen: Reader 2004, Appl. Spectrosc. 58, 1469; H-epsilon and H8 from memory. Telluric: Fraunhofer's A and B at low
/// resolution (centers of the bands, from memory).
/// </remarks>
public static class LampLines
{
    private static readonly Dictionary<string, double[]> Lists = new(StringComparer.OrdinalIgnoreCase)
    {
        ["Ne"] = [540.05618, 585.24879, 588.18952, 594.48342, 597.5534, 602.99969, 607.43377, 609.61631, 614.30626, 616.35939, 621.72812, 626.6495, 630.47892, 633.44278, 638.29917, 640.2248, 650.65281, 653.28822, 659.89529, 667.82762, 671.7043, 692.94673, 703.24131, 717.39381, 724.51666, 743.88981, 748.88712, 753.57741, 837.7608, 849.53598, 865.43831, 878.06226],
        ["Ar"] = [696.5431, 706.7218, 714.7042, 727.2936, 738.3980, 750.3869, 751.4652, 763.5106, 772.3985, 794.8176, 800.6157, 801.4786, 810.3693, 811.5311, 826.4522, 840.8210, 842.4648, 852.1442, 912.2967],
        ["Hg"] = [365.0153, 404.6563, 407.783, 435.8328, 546.0735, 576.9598, 579.0663],
        ["He"] = [388.865, 447.1479, 471.3146, 492.1931, 501.5678, 587.5615, 667.81517, 706.51771, 728.135],
        ["Kr"] = [427.39694, 431.95795, 437.61216, 446.36900, 450.23545, 556.22253, 557.02894, 587.09160, 758.74136, 760.15457, 768.52460, 769.45401, 785.48234, 805.95048, 810.43660, 811.29012, 819.00566, 826.32426, 829.81099, 850.88728, 877.67505, 892.86934],
        ["Cd"] = [361.05077, 467.81493, 479.99123, 508.58217, 643.84695],
        ["Xe"] = [450.0977, 452.4680, 458.2747, 462.4276, 467.1226, 469.7020, 473.4152, 480.7019, 482.9709, 484.3293, 491.6508, 492.3152, 502.8280, 561.8880, 582.3890, 589.3290, 593.4172, 618.2420, 631.8062, 647.2841, 659.5560, 666.8920, 672.8010, 682.7320, 697.6180, 711.9600, 725.7900, 738.6000, 739.3800, 758.4680, 764.2020, 774.0310, 780.2650, 788.7400, 796.7340, 805.7260, 820.6340, 823.1635, 828.0120, 834.6820, 840.9190, 881.9410, 895.2250],
        ["H"] = [656.280, 486.133, 434.047, 410.174, 397.007, 388.906],
        ["telluric"] = [686.9, 760.6],
    };

    /// <summary>Names of the lists.</summary>
    public static IReadOnlyList<string> Names => [.. Lists.Keys];

    /// <summary>Lines of one or more lists, rising.</summary>
    public static double[] Find(IEnumerable<string> names)
    {
        var all = new List<double>();
        foreach (string name in names)
        {
            all.AddRange(Lists.TryGetValue(name, out double[]? list)
                ? list
                : throw new InputException("wavelength.lamp", $"No lamp '{name}' is known. Known are {string.Join(", ", Lists.Keys)}; or give the wavelengths themselves.", "lamp"));
        }

        return [.. all.Distinct().Order()];
    }
}
