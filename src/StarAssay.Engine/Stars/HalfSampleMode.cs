namespace StarAssay.Engine.Stars;

/// <summary>Where values crowd most.</summary>
internal static class HalfSampleMode
{
    /// <summary>The mode by halving: of all stretches that hold half of the values the shortest, again and again.</summary>
    /// <remarks>Robertson and Cryer 1974, J. Am. Stat. Assoc. 69, 1012 (from memory). Up to half of the values may be of another kind,
    /// and more when those are spread out.</remarks>
    /// <param name="sorted">Values in rising order; at least one.</param>
    public static double Of(ReadOnlySpan<double> sorted)
    {
        while (sorted.Length > 3)
        {
            int half = (sorted.Length + 1) / 2, best = 0;
            for (int i = 1; i + half <= sorted.Length; i++)
            {
                best = sorted[i + half - 1] - sorted[i] < sorted[best + half - 1] - sorted[best] ? i : best;
            }

            sorted = sorted.Slice(best, half);
        }

        return sorted.Length switch
        {
            1 => sorted[0],
            2 => 0.5 * (sorted[0] + sorted[1]),
            _ when sorted[1] - sorted[0] < sorted[2] - sorted[1] => 0.5 * (sorted[0] + sorted[1]),
            _ when sorted[1] - sorted[0] > sorted[2] - sorted[1] => 0.5 * (sorted[1] + sorted[2]),
            _ => sorted[1],
        };
    }
}
