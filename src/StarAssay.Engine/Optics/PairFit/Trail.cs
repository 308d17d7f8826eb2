namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Blur of one image beyond seeing and jitter: a Gaussian that may be longer in one direction. Square pixels.</summary>
/// <remarks>Variances along x and y are <c>Both + Difference</c> and <c>Both - Difference</c>, <c>Mixed</c> is the covariance of x and y. A trail
/// without width has <c>Both</c> = the length of the other two; the seeing takes what is alike in all directions from it.</remarks>
/// <param name="Both">Mean of the variances along x and y.</param>
/// <param name="Difference">Half the difference of the variance along x from that along y.</param>
/// <param name="Mixed">Covariance of x and y.</param>
internal readonly record struct Trail(double Both, double Difference, double Mixed)
{
    /// <summary>What the two that have a direction come to: half the difference of the variances along the trail and across it.</summary>
    public double Length => Math.Sqrt((Difference * Difference) + (Mixed * Mixed));

    /// <summary>The same trail without width.</summary>
    public Trail WithoutWidth() => this with { Both = Length };

    /// <summary>-ln of the transfer at frequencies in cycles per pixel.</summary>
    public double Log(double fx, double fy) => 2 * Math.PI * Math.PI
        * (((Both + Difference) * fx * fx) + ((Both - Difference) * fy * fy) + (2 * Mixed * fx * fy));
}

/// <summary>What blurs one image beside jitter and pixels.</summary>
/// <param name="Seeing">Its strength, in the units of <see cref="PairOptics.TurbulenceLog"/>.</param>
/// <param name="Trail">Its trail.</param>
internal readonly record struct ImageBlur(double Seeing, Trail Trail = default);
