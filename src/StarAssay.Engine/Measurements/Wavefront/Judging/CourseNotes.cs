using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Follows the pairs of a fit in time, and says what of it the reader must know.</summary>
internal static class CourseNotes
{
    private static readonly int[] LowModes = [5, 6, 7, 8, 9, 10, 11];

    /// <summary>What changed; null where times are not known or pairs are too few or too near to each other.</summary>
    public static WavefrontCourse? Follow(WavefrontRequest request, FittedImage[] images, FitJudgment judgment, double[] mean, Measured rms, List<Note> notes)
    {
        PairAlone[] alone = judgment.Alone;
        if (alone.Length < CourseMaker.LeastPairs || request.Times.Length != images.Length || !request.Times.All(double.IsFinite))
        {
            return null;
        }

        double Mean(Func<int, double> of, int p) => (of(2 * p) + of((2 * p) + 1)) / 2;
        int[] order = [.. Enumerable.Range(0, alone.Length).OrderBy(p => Mean(i => request.Times[i], p))];
        bool focused = request.FocuserUm.Length == images.Length && request.FocuserUm.All(double.IsFinite);
        double bar = Math.Sqrt(images.Sum(i => i.Distance.Uncertainty * i.Distance.Uncertainty) / images.Length / 2);
        WavefrontCourse? course = CourseMaker.Follow(new CourseRequest
        {
            TimeH = [.. order.Select(p => Mean(i => request.Times[i], p))],
            CoefficientNm = [.. order.SelectMany(p => LowModes.Select(j => alone[p].CoefficientNm[j - 5]))],
            VarianceNm2 = [.. LowModes.Select(j => judgment.OwnVariance[j - 5])],
            AirNm2 = [.. LowModes.Select(j => judgment.AirVariance[j - 5])],
            FocusUm = focused ? [.. order.Select(p => Mean(i => request.FocuserUm[i], p) - alone[p].DistanceUm.Average())] : [],
            FocusUncertaintyUm = bar,
        });
        if (course is not null)
        {
            Say(course, judgment, mean, rms, notes);
        }

        return course;
    }

    private static void Say(WavefrontCourse course, FitJudgment judgment, double[] mean, Measured rms, List<Note> notes)
    {
        double span = course.Time[^1];
        if (course.Changing)
        {
            // From the middle of the pairs to their end, and back to their beginning.
            double[] late = [.. mean], early = [.. mean];
            foreach (FamilyCourse family in course.Families.Where(f => f.Told))
            {
                int[] noll = CourseMaker.Kinds.First(kind => kind.Name == family.Name).Noll;
                double[] change = [family.ChangeX.Value, family.ChangeY.Value];
                for (int k = 0; k < noll.Length; k++)
                {
                    late[noll[k] - 5] += change[k] * span / 2;
                    early[noll[k] - 5] -= change[k] * span / 2;
                }
            }

            double first = judgment.Surface.Rms(early), last = judgment.Surface.Rms(late), middle = judgment.Surface.Rms(mean);
            string what = string.Join(", ", course.Families.Where(f => f.Told).Select(f =>
                $"{f.Name} by {f.Change.Value:+0.0;-0.0} ± {f.Change.Uncertainty:0.0} nm/h"));
            string from = $"Through the {span:0.0} h of {course.Time.Length} pairs the wavefront changed: {what}; its RMS from about {first:0.0} to "
                + $"{last:0.0} nm. Glass that is still cooling does that, and so does an adjustment in between.";
            if (Math.Max(Math.Abs(last - middle), Math.Abs(first - middle)) > rms.Uncertainty)
            {
                notes.Add(WavefrontNotes.Changing.Say($"{from} The mean of all is no state of the telescope: judge it by the last pairs, in an entry of "
                    + "their own, or take new ones when nothing changes any more."));
            }
            else
            {
                notes.Add(WavefrontNotes.ChangedLittle.Say($"{from} For the RMS this is less than its uncertainty."));
            }
        }

        if (course.Unsteady)
        {
            string later = course.Settling ? $" It falls through the night (the later pairs scatter {course.LateOverEarly:0.0} times as much as the "
                + "earlier ones), as warm optics and tubes do that come to the air's temperature." : "";
            notes.Add(WavefrontNotes.Unsteady.Say(
                $"Astigmatism and coma change by {course.ScatterNm:0.0} nm from pair to pair, where photons and seeing leave {course.ExpectedScatterNm:0.0} nm "
                + "even with air at a third of the usual speed: warm air in or before the tube (a plume, tube currents), or something loose."
                + $"{later} What changes so fast is no figure of the glass: do not blame the optics for it. The bars hold the scatter; wait, blow air through "
                + "the tube, or take more pairs."));
        }
    }
}
