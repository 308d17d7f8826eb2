using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>A line of a lamp.</summary>
/// <param name="Nm">Wavelength in standard air.</param>
/// <param name="Strength">Rough share of the strongest line of its list.</param>
/// <param name="Lamp">Number of its list among those asked for.</param>
internal readonly record struct LampLine(double Nm, double Strength, int Lamp);

/// <summary>Lines of calibration lamps and of stars, nm in standard air.</summary>
/// <remarks>
/// Ne, Ar, Hg, He: NIST "Handbook of Basic Atomic Spectroscopic Data" (Ne Saloman and Sansonetti 2004; Ar Norlen 1973; Hg
/// Burns, Adams and Longwell 1950; He Martin 1960). Kr, Cd: NIST, from vacuum lists converted to air. Xe: NIST values from
/// memory, those that a published list (vacuum, NIST) also holds checked against it in the tests, and all of them by the residuals on a real lamp frame.
/// Strengths: rough, from memory of the same handbook's tables, one digit; lamps and sensors differ, so they only share a blend out.
/// Hydrogen: Reader 2004, Appl. Spectrosc. 58, 1469; H-epsilon and H8 from memory. Telluric: Fraunhofer's A and B at low
/// resolution (centers of the bands, from memory).
/// </remarks>
public static class LampLines
{
    private static readonly Dictionary<string, (double Nm, double Strength)[]> Lists = new(StringComparer.OrdinalIgnoreCase)
    {
        ["Ne"] = [(533.07775, 6), (534.10938, 10), (540.05618, 20), (556.27662, 1.5), (565.66588, 1), (571.92248, 1), (574.82985, 1.5), (576.44188, 7),
            (580.44496, 1.5), (582.01558, 5), (585.24879, 20), (588.18952, 10), (590.24623, 1), (594.48342, 5), (596.5471, 5), (597.46273, 5), (597.5534, 6),
            (598.79074, 1.5), (602.99969, 10), (607.43377, 10), (609.61631, 3), (612.84499, 1), (614.30626, 10), (616.35939, 10), (618.2146, 1.5),
            (621.72812, 10), (626.6495, 10), (630.47892, 1), (633.44278, 10), (638.29917, 10), (640.2248, 20), (650.65281, 15), (653.28822, 3),
            (659.89529, 10), (667.82762, 5), (671.7043, 3), (692.94673, 10), (702.40504, 3), (703.24131, 8), (705.91074, 1), (717.39381, 2), (724.51666, 8),
            (743.88981, 3), (748.88712, 3), (753.57741, 3), (754.40443, 1.3), (837.7608, 8), (849.53598, 5), (865.43831, 6), (878.06226, 6)],
        ["Ar"] = [(404.44179, 0.5), (415.85906, 4), (416.41795, 0.5), (418.18836, 0.5), (419.07129, 1), (419.10294, 0.5), (419.83170, 2), (420.06745, 4),
            (425.11846, 0.25), (425.93619, 2), (426.62864, 1), (427.21689, 1.5), (430.01008, 1), (433.35612, 1), (433.53379, 0.5), (434.51680, 0.25),
            (451.07332, 1), (452.23230, 0.15), (459.60967, 0.15), (462.84409, 0.15), (470.23161, 0.15), (518.77462, 0.2), (549.58738, 0.25), (555.87024, 0.35),
            (560.67330, 0.35), (565.07043, 0.2), (588.85841, 0.15), (591.20853, 0.5), (592.88130, 0.2), (603.21274, 0.7), (604.32233, 0.35), (605.93725, 0.2),
            (641.63071, 0.7), (667.72820, 1), (675.28335, 1.5), (687.12891, 1.5), (693.76642, 0.5), (696.5431, 10), (703.02514, 1.5), (706.7218, 10),
            (706.87356, 1), (710.74778, 0.25), (712.58200, 0.25), (714.7042, 3), (720.69804, 0.7), (727.2936, 5), (735.32930, 0.7), (737.21184, 2),
            (738.3980, 10), (750.3869, 20), (751.4652, 15), (763.5106, 25), (772.37610, 15), (772.42070, 10), (794.8176, 20), (800.6157, 20), (801.4786, 25),
            (810.3693, 20), (811.5311, 35), (826.4522, 10), (840.8210, 15), (842.4648, 20), (852.1442, 15), (866.79442, 4.5), (912.2967, 35)],
        ["Hg"] = [(365.0153, 6), (365.4836, 2), (366.3279, 1.5), (404.6563, 4), (407.783, 1), (434.7494, 1), (435.8328, 10), (546.0735, 12), (576.9598, 3),
            (579.0663, 3)],
        ["He"] = [(388.865, 5), (396.4729, 0.2), (402.6191, 0.5), (412.0811, 0.12), (438.7929, 0.1), (447.1479, 2), (471.3146, 0.3), (492.1931, 0.2),
            (501.5678, 1), (504.7738, 0.1), (587.5615, 5), (667.81517, 1), (706.51771, 2), (728.135, 0.5)],
        ["Kr"] = [(427.39694, 10), (428.2967, 1), (431.95795, 10), (436.2642, 5), (437.61216, 8), (439.9965, 2), (445.39175, 6), (446.36900, 8),
            (450.23545, 6), (556.22253, 5), (557.02894, 20), (564.9562, 1), (587.09160, 30), (645.6288, 2), (758.74136, 10), (760.15457, 20), (768.52460, 10),
            (769.45401, 12), (785.48234, 8), (805.95048, 15), (810.43660, 40), (811.29012, 60), (819.00566, 30), (826.32426, 30), (829.81099, 50),
            (850.88728, 30), (877.67505, 60), (892.86934, 20)],
        ["Cd"] = [(361.05077, 1), (467.81493, 2), (479.99123, 10), (508.58217, 10), (643.84695, 10)],
        ["Xe"] = [(450.0977, 1), (452.4680, 1), (458.2747, 1), (462.4276, 1), (467.1226, 1), (469.7020, 1), (473.4152, 1), (480.7019, 1), (482.9709, 1),
            (484.3293, 1), (491.6508, 1), (492.3152, 1), (502.8280, 1), (561.8880, 1), (582.3890, 1), (589.3290, 1), (593.4172, 1), (618.2420, 1),
            (631.8062, 1), (647.2841, 1), (659.5560, 1), (666.8920, 1), (672.8010, 1), (682.7320, 1), (697.6180, 1), (711.9600, 1), (725.7900, 1),
            (738.6000, 1), (739.3800, 1), (758.4680, 1), (764.2020, 1), (774.0310, 1), (780.2650, 1), (788.7400, 1), (796.7340, 1), (805.7260, 1),
            (820.6340, 1), (823.1635, 1), (828.0120, 1), (834.6820, 1), (840.9190, 1), (881.9410, 1), (895.2250, 1)],
        ["H"] = [(656.280, 10), (486.133, 10), (434.047, 9), (410.174, 8), (397.007, 6), (388.906, 4)],
        ["telluric"] = [(686.9, 1), (760.6, 1)],
    };

    /// <summary>Names of the lists.</summary>
    public static IReadOnlyList<string> Names => [.. Lists.Keys];

    /// <summary>Lines of one or more lists, rising; of each list those that are at least an eighth as strong as its strongest.</summary>
    public static double[] Find(IEnumerable<string> names) =>
        [.. names.SelectMany(name => List(name).Where(l => l.Strength >= 0.12 * List(name).Max(m => m.Strength))).Select(l => l.Nm).Distinct().Order()];

    /// <summary>All lines of one or more lists with the number of the list and their rough strength in it, the strongest 1, rising.</summary>
    internal static LampLine[] All(IReadOnlyList<string> names) =>
        [.. names.SelectMany((name, k) => List(name).Select(l => new LampLine(l.Nm, l.Strength / List(name).Max(m => m.Strength), k))).DistinctBy(l => l.Nm)
            .OrderBy(l => l.Nm)];

    private static (double Nm, double Strength)[] List(string name) => Lists.TryGetValue(name, out (double Nm, double Strength)[]? list)
        ? list
        : throw new InputException("wavelength.lamp", $"No lamp '{name}' is known. Known are {string.Join(", ", Lists.Keys)}; or give the wavelengths " +
            "themselves.", "lamp");
}
