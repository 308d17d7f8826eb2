using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>
/// Glasses found in telescope lenses, with the dispersion coefficients their makers publish.
/// </summary>
/// <remarks>Source: makers' catalogues as collected in the refractiveindex.info database (CC0), commit ff11b589:
/// Schott 2017-01-20, Ohara 2017-11-30, Hoya 2017-04-01, CDGM 2022-06, Hikari 2017-11; CaF2: Malitson 1963, Appl. Opt. 2,
/// 1103 and Daimon and Masumura 2002, Appl. Opt. 41, 5275; fused silica: Malitson 1965, J. Opt. Soc. Am. 55, 1205.
/// N-SK2 and N-SK11: Schott, 2017 catalogue, the same database. Indices are relative to air.</remarks>
public static class GlassCatalog
{
    private static readonly Glass[] Glasses =
    [
        new("H-FK61", "CDGM", DispersionFormula.Sellmeier, [0, 0.502504076, 0.00132743798, 0.715240076, 0.0108378966, 0.836628986, 155.933755], 302, 2325, 20, 1.497, 81.612838),
        new("H-FK71", "CDGM", DispersionFormula.Sellmeier, [0, 0.22226661, 0.014065122, 0.880444178, 0.004204574, 0.797848915, 171.029818], 302, 2325, 20, 1.4565, 90.273821),
        new("H-FK95N", "CDGM", DispersionFormula.Sellmeier, [0, 0.973027043, 0.004919458, 0.077363216, 0.01820094, 0.687944956, 159.44609], 302, 2325, 20, 1.4378, 94.523389),
        new("H-K9L", "CDGM", DispersionFormula.Sellmeier, [0, 0.614555251, 0.0145987884, 0.656775017, 0.00287769588, 1.02699346, 107.653051], 302, 2325, 20, 1.5168, 64.198732),
        new("H-ZK7", "CDGM", DispersionFormula.Power, [2.56229558, -0.0108844706, 2, 0.0140997791, -2, 0.000379257039, -4, -2.41612681e-05, -6, 1.41616214e-06, -8], 365, 1014, 20, 1.613095, 60.614383),
        new("E-FKH1", "Hikari", DispersionFormula.Power, [2.22025427, -0.00513496818, 2, 0.00841587708, -2, 5.4263553e-05, -4, 7.61288219e-06, -6, -4.89857441e-07, -8], 400, 700, 23, 1.49782, 82.515656),
        new("J-FK01A", "Hikari", DispersionFormula.Power, [2.21785004, -0.00552619544, 2, -4.04219098e-05, 4, 0.00839820345, -2, 8.8019088e-05, -4, 1.15723877e-07, -6, 5.3817861e-08, -8], 365, 2058, 23, 1.497, 81.63862),
        new("J-FKH1", "Hikari", DispersionFormula.Power, [2.22016073, -0.00500725473, 2, -3.55507111e-05, 4, 0.00842088796, -2, 7.02327459e-05, -4, 2.470079e-06, -6, -6.50002003e-08, -8], 365, 2058, 23, 1.49782, 82.571305),
        new("FCD1", "Hoya", DispersionFormula.Power, [2.2181132, -0.005799427, 2, 0.0083470679, -2, 6.5046523e-05, -4, 8.5142186e-06, -6, -5.8852269e-07, -8], 365, 1014, 20, 1.497, 81.61),
        new("FCD100", "Hoya", DispersionFormula.Power, [2.0482157, -0.0043211222, 2, 0.0061826755, -2, 3.141148e-05, -4, 3.5370793e-06, -6, -1.6694497e-07, -8], 365, 1014, 20, 1.437, 95.1),
        new("FCD10A", "Hoya", DispersionFormula.Power, [2.1085888, -0.0046553722, 2, 0.006954748, -2, 3.2184141e-05, -4, 5.2670946e-06, -6, -2.7164844e-07, -8], 365, 1014, 20, 1.4586, 90.2),
        new("FCD1B", "Hoya", DispersionFormula.Power, [2.2189068, -0.0061707065, 2, 0.0080887631, -2, 0.00013357782, -4, 1.9476186e-07, -6, -2.2577804e-07, -8], 365, 1014, 20, 1.4971, 81.56),
        new("CaF2", "Daimon and Masumura 2002", DispersionFormula.Sellmeier, [0, 0.443749998, 0.00178027854, 0.444930066, 0.00788536061, 0.150133991, 0.0124119491, 8.85319946, 2752.28175], 138, 2326, double.NaN, double.NaN, double.NaN),
        new("CaF2-Malitson", "Malitson 1963", DispersionFormula.SellmeierSquared, [0, 0.5675888, 0.050263605, 0.4710914, 0.1003909, 3.8484723, 34.649040], 230, 9700, double.NaN, double.NaN, double.NaN),
        new("SiO2", "Malitson 1965", DispersionFormula.SellmeierSquared, [0, 0.6961663, 0.0684043, 0.4079426, 0.1162414, 0.8974794, 9.896161], 210, 6700, 20, double.NaN, double.NaN),
        new("S-BAL42", "Ohara", DispersionFormula.Sellmeier, [0, 1.39570615, 0.0112218843, 0.071850507, -0.0252117422, 1.27129267, 134.49786], 290, 2400, 25, 1.583126, 59.374673),
        new("S-BSL7", "Ohara", DispersionFormula.Sellmeier, [0, 1.1515019, 0.010598413, 0.118583612, -0.011822519, 1.26301359, 129.617662], 290, 2400, 25, 1.51633, 64.142022),
        new("S-FPL51", "Ohara", DispersionFormula.Sellmeier, [0, 1.17010505, 0.00616203924, 0.0475710783, 0.0263372876, 0.763832445, 141.882642], 280, 2400, 25, 1.496999, 81.545888),
        new("S-FPL53", "Ohara", DispersionFormula.Sellmeier, [0, 0.983532327, 0.00492234955, 0.069568814, 0.0193581091, 1.11409238, 264.275294], 280, 2400, 25, 1.43875, 94.946025),
        new("S-FPL55", "Ohara", DispersionFormula.Sellmeier, [0, 0.839067682, 0.00795286639, 0.214083503, -0.00232581717, 1.47914677, 340.0437], 365, 2325, 25, 1.43875, 94.661059),
        new("S-LAL7", "Ohara", DispersionFormula.Sellmeier, [0, 0.916121247, 0.00395889743, 0.765948319, 0.0167547425, 1.27745023, 110.762706], 280, 2400, 25, 1.651597, 58.550655),
        new("S-NBM51", "Ohara", DispersionFormula.Sellmeier, [0, 1.37023101, 0.00871920342, 0.177665568, 0.0405725552, 1.30515471, 112.703058], 320, 2400, 25, 1.613397, 44.267706),
        new("S-NSL3", "Ohara", DispersionFormula.Sellmeier, [0, 0.882514764, 0.00464504582, 0.389271907, 0.0200551397, 1.10693448, 136.234339], 320, 2400, 25, 1.518229, 58.902057),
        new("S-TIM2", "Ohara", DispersionFormula.Sellmeier, [0, 1.42193846, 0.0107291511, 0.133827968, 0.0572587546, 1.45060574, 145.381805], 360, 2400, 25, 1.620041, 36.263378),
        new("F2", "Schott", DispersionFormula.Sellmeier, [0, 1.34533359, 0.00997743871, 0.209073176, 0.0470450767, 0.937357162, 111.886764], 320, 2500, 20, 1.62004, 36.37),
        new("F5", "Schott", DispersionFormula.Sellmeier, [0, 1.3104463, 0.00958633048, 0.19603426, 0.0457627627, 0.96612977, 115.011883], 320, 2500, 20, 1.60342, 38.03),
        new("KZFSN4", "Schott", DispersionFormula.Sellmeier, [0, 1.37994218, 0.00891159699, 0.168496708, 0.040533407, 0.874885726, 69.6628237], 310, 2500, 20, 1.6134, 44.29),
        new("N-BAF10", "Schott", DispersionFormula.Sellmeier, [0, 1.5851495, 0.00926681282, 0.143559385, 0.0424489805, 1.08521269, 105.613573], 350, 2500, 20, 1.67003, 47.11),
        new("N-BAK1", "Schott", DispersionFormula.Sellmeier, [0, 1.12365662, 0.00644742752, 0.309276848, 0.0222284402, 0.881511957, 107.297751], 300, 2500, 20, 1.5725, 57.55),
        new("N-BAK4", "Schott", DispersionFormula.Sellmeier, [0, 1.28834642, 0.00779980626, 0.132817724, 0.0315631177, 0.945395373, 105.965875], 334, 2500, 20, 1.56883, 55.98),
        new("N-BK7", "Schott", DispersionFormula.Sellmeier, [0, 1.03961212, 0.00600069867, 0.231792344, 0.0200179144, 1.01046945, 103.560653], 300, 2500, 20, 1.5168, 64.17),
        new("N-F2", "Schott", DispersionFormula.Sellmeier, [0, 1.39757037, 0.00995906143, 0.159201403, 0.0546931752, 1.2686543, 119.248346], 365, 2500, 20, 1.62005, 36.43),
        new("N-FK5", "Schott", DispersionFormula.Sellmeier, [0, 0.844309338, 0.00475111955, 0.344147824, 0.0149814849, 0.910790213, 97.8600293], 260, 2500, 20, 1.48749, 70.41),
        new("N-FK51A", "Schott", DispersionFormula.Sellmeier, [0, 0.971247817, 0.00472301995, 0.216901417, 0.0153575612, 0.904651666, 168.68133], 290, 2500, 20, 1.48656, 84.47),
        new("N-K5", "Schott", DispersionFormula.Sellmeier, [0, 1.08511833, 0.00661099503, 0.199562005, 0.024110866, 0.930511663, 111.982777], 310, 2500, 20, 1.52249, 59.48),
        new("N-KZFS11", "Schott", DispersionFormula.Sellmeier, [0, 1.3322245, 0.0084029848, 0.28924161, 0.034423972, 1.15161734, 88.4310532], 310, 2500, 20, 1.63775, 42.41),
        new("N-KZFS2", "Schott", DispersionFormula.Sellmeier, [0, 1.23697554, 0.00747170505, 0.153569376, 0.0308053556, 0.903976272, 70.1731084], 310, 2500, 20, 1.55836, 54.01),
        new("N-KZFS4", "Schott", DispersionFormula.Sellmeier, [0, 1.35055424, 0.0087628207, 0.197575506, 0.0371767201, 1.09962992, 90.3866994], 334, 2500, 20, 1.61336, 44.49),
        new("N-KZFS5", "Schott", DispersionFormula.Sellmeier, [0, 1.47460789, 0.00986143816, 0.193584488, 0.0445477583, 1.26589974, 106.436258], 334, 2500, 20, 1.65412, 39.7),
        new("N-KZFS8", "Schott", DispersionFormula.Sellmeier, [0, 1.62693651, 0.010880863, 0.24369876, 0.0494207753, 1.62007141, 131.009163], 334, 2500, 20, 1.72047, 34.7),
        new("N-LAF2", "Schott", DispersionFormula.Sellmeier, [0, 1.80984227, 0.0101711622, 0.15729555, 0.0442431765, 1.0930037, 100.687748], 350, 2500, 20, 1.74397, 44.85),
        new("N-LAK8", "Schott", DispersionFormula.Sellmeier, [0, 1.33183167, 0.00620023871, 0.546623206, 0.0216465439, 1.19084015, 82.5827736], 310, 2500, 20, 1.713, 53.83),
        new("N-LAK9", "Schott", DispersionFormula.Sellmeier, [0, 1.46231905, 0.00724270156, 0.344399589, 0.0243353131, 1.15508372, 85.4686868], 300, 2500, 20, 1.691, 54.71),
        new("N-LASF44", "Schott", DispersionFormula.Sellmeier, [0, 1.78897105, 0.00872506277, 0.38675867, 0.0308085023, 1.30506243, 92.7743824], 334, 2500, 20, 1.8042, 46.5),
        new("N-PK51", "Schott", DispersionFormula.Sellmeier, [0, 1.15610775, 0.00585597402, 0.153229344, 0.0194072416, 0.785618966, 140.537046], 300, 2500, 20, 1.52855, 76.98),
        new("N-PK52A", "Schott", DispersionFormula.Sellmeier, [0, 1.029607, 0.00516800155, 0.1880506, 0.0166658798, 0.736488165, 138.964129], 290, 2500, 20, 1.497, 81.61),
        new("N-SF10", "Schott", DispersionFormula.Sellmeier, [0, 1.62153902, 0.0122241457, 0.256287842, 0.0595736775, 1.64447552, 147.468793], 380, 2500, 20, 1.72828, 28.53),
        new("N-SF11", "Schott", DispersionFormula.Sellmeier, [0, 1.73759695, 0.013188707, 0.313747346, 0.0623068142, 1.89878101, 155.23629], 370, 2500, 20, 1.78472, 25.68),
        new("N-SF5", "Schott", DispersionFormula.Sellmeier, [0, 1.52481889, 0.011254756, 0.187085527, 0.0588995392, 1.42729015, 129.141675], 370, 2500, 20, 1.67271, 32.25),
        new("N-SK16", "Schott", DispersionFormula.Sellmeier, [0, 1.34317774, 0.00704687339, 0.241144399, 0.0229005, 0.994317969, 92.7508526], 310, 2500, 20, 1.62041, 60.32),
        new("N-SSK8", "Schott", DispersionFormula.Sellmeier, [0, 1.44857867, 0.00869310149, 0.117965926, 0.0421566593, 1.06937528, 111.300666], 350, 2500, 20, 1.61773, 49.83),
        new("N-ZK7", "Schott", DispersionFormula.Sellmeier, [0, 1.07715032, 0.00676601657, 0.168079109, 0.0230642817, 0.851889892, 89.0498778], 300, 2500, 20, 1.50847, 61.19),
        new("SF10", "Schott", DispersionFormula.Sellmeier, [0, 1.61625977, 0.0127534559, 0.259229334, 0.0581983954, 1.07762317, 116.60768], 380, 2500, 20, 1.72825, 28.41),
        new("SF5", "Schott", DispersionFormula.Sellmeier, [0, 1.46141885, 0.0111826126, 0.247713019, 0.0508594669, 0.949995832, 112.041888], 350, 2500, 20, 1.6727, 32.21),
        new("N-SK2", "Schott", DispersionFormula.Sellmeier, [0, 1.28189012, 0.0072719164, 0.257738258, 0.0242823527, 0.96818604, 110.377773], 310, 2500, 20, 1.60738, 56.65),
        new("N-SK11", "Schott", DispersionFormula.Sellmeier, [0, 1.17963631, 0.00680282081, 0.229817295, 0.0219737205, 0.935789652, 101.513232], 310, 2500, 20, 1.56384, 60.8),
    ];

    /// <summary>Every glass, in the order makers list them.</summary>
    public static IReadOnlyList<Glass> All => Glasses;

    /// <summary>The glass of that name.</summary>
    /// <exception cref="InputException">When the catalog does not hold it; the message names the nearest.</exception>
    public static Glass Find(string name) =>
        Glasses.FirstOrDefault(g => string.Equals(g.Name, name, StringComparison.OrdinalIgnoreCase))
        ?? throw new InputException("glass.unknown",
            $"No glass '{name}' in the catalog. It holds {string.Join(", ", Glasses.Select(g => g.Name).Order(StringComparer.Ordinal))}.", "glass", name);
}
