using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>
/// The sky under each star of a frame whose sky has structure at the stars' own scale, and what that structure does to a half-flux radius.
/// </summary>
/// <remarks>
/// A half-flux radius h comes from G = F(h) - F(R)/2, F the light within a radius, R the outer one. Where no star stands, G should be 0; what it
/// scatters by at empty places round a star is what noise and structure do to G at the star. A ring round R tells the sky under the circle
/// as far as it does so at those places: the level under a star is raised by the part w of what the ring shows, by least squares over them.
/// </remarks>
internal sealed class LocalSky
{
    private const int Nearest = 24;

    // Of so many places near a star those count whose rings are as uneven as its own: a thread under a star shows in its ring, too.
    private const int Choice = 96;
    private const int Sectors = 8;

    // A ring must be so much more uneven than noise makes it to be told from another.
    private const double UnevenByNoise = 1.0;
    private const int FewestPlaces = 12;
    private const int MostPlaces = 20000;
    private const int Block = 64;

    // Width of the ring over the outer radius.
    private const double RingShare = 0.5;
    private const double LeastRing = 3;

    // A place is empty, and a ring's pixel free, where no star's skirt is above this share of the noise.
    private const double Free = 0.25;
    private const double EnoughRing = 0.4;

    // Wings over heights scatter from star to star by about so much.
    private const double WingKnown = 0.1;
    private const double WingAlike = 0.001;

    private readonly MeterSettings set;
    private readonly double filteredPeak;
    private readonly double alpha;
    private readonly int half;
    private readonly double[] sum;
    private readonly double[] circle;
    private readonly bool[] ring;
    private readonly byte[] sector;
    private readonly double lever;
    private readonly double area;

    private LocalSky(MeterSettings settings, TypicalStar typical, double filterSigma)
    {
        set = settings;
        filteredPeak = typical.FilteredPeak(filterSigma);
        alpha = typical.Alpha;
        double outer = set.OuterRadius, rim = outer + Math.Max(LeastRing, RingShare * outer), h = typical.Hfr;
        half = (int)Math.Ceiling(rim);
        int side = (2 * half) + 1;
        (sum, circle, ring, sector) = (new double[side * side], new double[side * side], new bool[side * side], new byte[side * side]);
        for (int j = -half, k = 0; j <= half; j++)
        {
            for (int i = -half; i <= half; i++, k++)
            {
                double distance = Math.Sqrt((i * i) + (j * j));
                circle[k] = CurveOfGrowth.Overlap(i, j, outer);
                sum[k] = CurveOfGrowth.Overlap(i, j, h) - (0.5 * circle[k]);
                ring[k] = distance > outer + 0.5 && distance <= rim;
                sector[k] = (byte)((int)Math.Floor(((Math.Atan2(j, i) / (2 * Math.PI)) + 1) * Sectors) % Sectors);
            }
        }

        area = Math.PI * outer * outer;
        lever = (Math.PI * h * h) - (0.5 * area);
    }

    /// <summary>What the surroundings of a star say.</summary>
    /// <param name="Shift">To be added to the mesh's level, ADU.</param>
    /// <param name="HalfVariance">Variance of G from noise and structure of the sky, ADU^2; NaN when not known.</param>
    /// <param name="FluxVariance">The same of the light within the outer radius.</param>
    public readonly record struct Star(double Shift, double HalfVariance, double FluxVariance)
    {
        /// <summary>Nothing known.</summary>
        public static readonly Star Unknown = new(0, double.NaN, double.NaN);
    }

    /// <summary>Looks round every star; null where there are too few empty places.</summary>
    /// <param name="settings">With which the stars will be measured.</param>
    /// <param name="typical">The usual star.</param>
    /// <param name="filterSigma">Of the smoothing that the seeds' heights come from, pixels.</param>
    /// <param name="context">Threads.</param>
    public static Star[]? Of(MeterSettings settings, TypicalStar typical, double filterSigma, RunContext context)
    {
        var own = new LocalSky(settings, typical, filterSigma);
        (int X, int Y)[] places = own.Places();
        var empty = new Sample[places.Length];
        own.Each(places.Length, context, (k, room) => empty[k] = own.Take(places[k].X, places[k].Y, room, -1));
        places = [.. places.Where((_, k) => empty[k].Whole)];
        empty = [.. empty.Where(s => s.Whole)];
        if (places.Length < FewestPlaces)
        {
            return null;
        }

        Seed[] seeds = settings.Seeds;
        var rings = new Sample[seeds.Length];
        own.Each(seeds.Length, context, (k, room) => rings[k] = own.Take(seeds[k].X, seeds[k].Y, room, k));
        double[] x = [.. places.Select(p => (double)p.X)], y = [.. places.Select(p => (double)p.Y)];
        double cell = Math.Max(1, Math.Sqrt((double)settings.Frame.Width * settings.Frame.Height * 3 / places.Length));
        var grid = new PointGrid(x, y, [.. Enumerable.Range(0, x.Length)], cell);
        int[][] near = new int[seeds.Length][];
        double[] unsure = new double[seeds.Length];
        Sharing.For(seeds.Length, context, k =>
        {
            Span<double> distance = stackalloc double[Choice];
            Span<int> found = stackalloc int[Choice];
            int count = grid.Nearest(seeds[k].X, seeds[k].Y, -1, distance, found);
            near[k] = [.. found[..Math.Min(Choice, count)].ToArray().OrderBy(n => Math.Abs(Math.Log(empty[n].Uneven / rings[k].Uneven))).Take(Nearest)];
            unsure[k] = Math.Sqrt(near[k].Sum(n => empty[n].Ring * empty[n].Ring) / Math.Max(1, near[k].Length));
        });
        double wing = Wing(seeds, rings, unsure);
        var stars = new Star[seeds.Length];
        Sharing.For(seeds.Length, context, k => stars[k] = near[k].Length < FewestPlaces || seeds[k].Diameter > 0 ? Star.Unknown
            : own.Judge(near[k], empty, rings[k], wing * seeds[k].Height));
        return stars;
    }

    private void Each(int count, RunContext context, Action<int, Room> take) =>
        Sharing.For((count + Block - 1) / Block, context, () => new Room(set.Frame, (2 * half) + 1), (block, room) =>
        {
            for (int k = block * Block; k < Math.Min(count, (block + 1) * Block); k++)
            {
                take(k, room);
            }
        });

    private Star Judge(int[] near, Sample[] empty, in Sample own, double wing)
    {
        double with = 0, square = 0;
        foreach (int n in near)
        {
            double told = lever * empty[n].Ring;
            (with, square) = (with + (told * empty[n].Sum), square + (told * told));
        }

        double w = own.Whole && square > 0 ? Math.Clamp(with / square, 0, 1) : 0, sums = 0, fluxes = 0;
        double Rest(int n) => empty[n].Sum - (w * lever * empty[n].Ring);

        // Threads are brighter than the sky between them and fewer: a ring takes in more of them than lies under the usual place.
        double usual = Rank.Median([.. near.Select(n => (float)Rest(n))]);
        foreach (int n in near)
        {
            double rest = Rest(n) - usual, flux = empty[n].Circle - (area * ((w * empty[n].Ring) + (usual / lever)));
            (sums, fluxes) = (sums + (rest * rest), fluxes + (flux * flux));
        }

        // No place may be as uneven as the star's own ring: what structure does grows with it.
        double picked = Math.Sqrt(near.Average(n => empty[n].Uneven * empty[n].Uneven)), more = picked > 0 ? Math.Max(1, own.Uneven / picked) : 1;
        (sums, fluxes) = (sums * more * more, fluxes * more * more);

        // The median of n is itself off by pi / 2 n of their variance.
        double unsure = w * WingKnown * wing, freedom = (near.Length - 2) / (1 + (Math.PI / 2 / near.Length));
        return new Star((w * (own.Ring - wing)) + (usual / lever), (sums / freedom) + (unsure * unsure * lever * lever),
            (fluxes / freedom) + (unsure * unsure * area * area));
    }

    /// <summary>A ring's level over a star's height: the median of all, each as it is sure by what rings at empty places near it scatter by.
    /// </summary>
    private static double Wing(Seed[] seeds, Sample[] rings, double[] unsure)
    {
        int[] use = [.. Enumerable.Range(0, seeds.Length).Where(k => rings[k].Whole && seeds[k].Diameter == 0)];
        double[] ratios = [.. use.Select(k => rings[k].Ring / seeds[k].Height)];
        double[] weights = [.. use.Select(k => 1 / (WingAlike + (unsure[k] / seeds[k].Height)))];
        Array.Sort(ratios, weights);
        double half = 0.5 * weights.Sum(), total = 0;
        for (int k = 0; k < ratios.Length; k++)
        {
            total += weights[k];
            if (total >= half)
            {
                return Math.Max(0, ratios[k]);
            }
        }

        return 0;
    }

    /// <summary>Places all over the frame that no star's skirt reaches.</summary>
    private (int X, int Y)[] Places()
    {
        int width = set.Frame.Width, height = set.Frame.Height, step = (int)Math.Max(set.OuterRadius, Math.Sqrt((double)width * height / MostPlaces));
        int columns = (width - (2 * half)) / step, rows = (height - (2 * half)) / step;
        if (columns < 1 || rows < 1)
        {
            return [];
        }

        bool[] taken = new bool[columns * rows];
        foreach (Seed seed in set.Seeds)
        {
            double reach = Reach(seed) + half;
            for (int j = Math.Max(0, (int)Math.Ceiling((seed.Y - reach - half) / step)); j < rows && half + (j * step) <= seed.Y + reach; j++)
            {
                double dy = half + (j * step) - seed.Y, across = Math.Sqrt(Math.Max(0, (reach * reach) - (dy * dy)));
                for (int i = Math.Max(0, (int)Math.Ceiling((seed.X - across - half) / step)); i < columns && half + (i * step) <= seed.X + across; i++)
                {
                    taken[(j * columns) + i] = true;
                }
            }
        }

        return [.. Enumerable.Range(0, taken.Length).Where(k => !taken[k]).Select(k => (half + (k % columns * step), half + (k / columns * step)))];
    }

    /// <summary>How far a star's skirt counts, pixels.</summary>
    private double Reach(Seed seed)
    {
        if (seed.Diameter > 0)
        {
            return seed.Diameter;
        }

        double peak = seed.Height / filteredPeak / Math.Max(1e-30, set.Mesh.At(seed.X, seed.Y).Noise);
        return Math.Max(1.5 * Math.Sqrt(set.Variance), alpha * Math.Sqrt(Math.Max(0, Math.Pow(peak / Free, 1 / set.Beta) - 1)));
    }

    /// <summary>The sums at a place; of a star's ring without what belongs to other stars.</summary>
    private Sample Take(int x, int y, Room room, int star)
    {
        SkySample sky = set.Mesh.At(x, y);
        int side = (2 * half) + 1, x0 = x - half, y0 = y - half, from = Math.Max(0, -x0), to = Math.Min(side, set.Frame.Width - x0);
        Array.Fill(room.Pixels, float.NaN);
        var plane = new SkyPlane(sky, half);
        for (int j = Math.Max(0, -y0); j < Math.Min(side, set.Frame.Height - y0); j++)
        {
            Span<float> row = room.Pixels.AsSpan((j * side) + from, to - from);
            room.Reader.Row(y0 + j, x0 + from, row);
            float start = plane.Start(j);
            for (int i = 0; i < row.Length; i++)
            {
                row[i] -= plane.At(from + i, start);
            }
        }

        if (star >= 0)
        {
            set.Grid.Near(x, y, (2.5 * half) + 20, room.Near);
            foreach (int n in room.Near)
            {
                if (n != star)
                {
                    Exclude(set.Seeds[n], x0, y0, room.Pixels);
                }
            }
        }

        double own = 0, light = 0, level = 0;
        int free = 0, all = 0;
        Span<double> parts = stackalloc double[Sectors];
        Span<int> counts = stackalloc int[Sectors];
        parts.Clear();
        counts.Clear();
        for (int k = 0; k < ring.Length; k++)
        {
            float value = room.Pixels[k];
            (own, light) = (own + (sum[k] * value), light + (circle[k] * value));
            if (ring[k])
            {
                bool good = float.IsFinite(value);
                (level, free, all) = (good ? level + value : level, good ? free + 1 : free, all + 1);
                parts[sector[k]] += good ? value : 0;
                counts[sector[k]] += good ? 1 : 0;
            }
        }

        bool whole = free >= EnoughRing * all && (star >= 0 || (free == all && double.IsFinite(light)));
        double mean = free > 0 ? level / free : 0;
        return new Sample(own, light, mean, Uneven(parts, counts, mean, sky.Noise), whole);
    }

    /// <summary>What the sectors of a ring differ from each other by, with what noise adds, ADU.</summary>
    private static double Uneven(ReadOnlySpan<double> parts, ReadOnlySpan<int> counts, double mean, double noise)
    {
        double squares = 0;
        int seen = 0, pixels = 1;
        for (int k = 0; k < Sectors; k++)
        {
            double off = counts[k] > 0 ? (parts[k] / counts[k]) - mean : 0;
            (squares, seen, pixels) = (squares + (off * off), counts[k] > 0 ? seen + 1 : seen, pixels + counts[k]);
        }

        return Math.Sqrt((squares / Math.Max(1, seen)) + (UnevenByNoise * noise * noise * Sectors / pixels)) + double.Epsilon;
    }

    private void Exclude(Seed seed, int x0, int y0, float[] pixels)
    {
        int side = (2 * half) + 1;
        double reach = Reach(seed);
        for (int j = 0; j < side; j++)
        {
            for (int i = 0; i < side; i++)
            {
                double dx = x0 + i - seed.X, dy = y0 + j - seed.Y;
                if ((dx * dx) + (dy * dy) < reach * reach)
                {
                    pixels[(j * side) + i] = float.NaN;
                }
            }
        }
    }

    /// <summary>Sums at a place, above the mesh.</summary>
    private readonly record struct Sample(double Sum, double Circle, double Ring, double Uneven, bool Whole);

    /// <summary>Memory of one worker.</summary>
    private sealed class Room(Frame frame, int side)
    {
        public FrameReader Reader { get; } = new(frame);

        public float[] Pixels { get; } = new float[side * side];

        public List<int> Near { get; } = [];
    }
}
