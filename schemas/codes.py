"""Closed vocabularies: the words a code column may hold, with their meaning."""

from __future__ import annotations

from schemas.model import Code

SIDE = (Code("left", "The runner's left."), Code("right", "The runner's right."))

UNDISCLOSED = "undisclosed"
SEX = (
    Code("female", "As stated by the runner."),
    Code("male", "As stated by the runner."),
    Code("other", "As stated by the runner."),
    Code(UNDISCLOSED, "Not given, or not asked."),
)

CONSENT_SCOPE = (
    Code("motion", "Recording and use of markers and standing posture."),
    Code("force", "Recording and use of force plates and foot sensors."),
    Code("muscle", "Recording and use of muscle signals."),
    Code("metabolic", "Recording and use of breathing gas."),
    Code("pooling", "Sending the above to the pooled study."),
    Code("open_sharing", "Publishing the de-identified data openly."),
)

CONSENT_EVENT = (
    Code("given", "The runner agreed."),
    Code("withdrawn", "The runner took the agreement back."),
)

TRIAL_KIND = (
    Code("running", "The runner runs at the set speed."),
    Code("standing", "The runner stands still; the reference posture for angles."),
    Code("reference_contraction", "A contraction against resistance; the reference for muscle amplitude."),
)

SURFACE = (
    Code("treadmill", "Belt; the runner stays in place."),
    Code("runway", "Solid ground; the runner passes by."),
)

WEIGHT = (
    Code("stops", "The delivery cannot be taken in."),
    Code("withholds", "Consent does not cover the trial; its bytes are kept apart and nothing is derived."),
    Code("returns", "The trial goes back to the site."),
    Code("notes", "Kept and shown; the trial is not returned for it."),
)

STANDING = (
    Code("accepted", "Outcomes are computed and pooled."),
    Code("returned", "The site can correct and resend it."),
    Code("withheld", "Consent or privacy: bytes kept apart, nothing derived."),
)

CHECK_STATUS = (
    Code("pass", "The check looked and found nothing."),
    Code("found", "The check found at least one fault."),
    Code("skipped", "There was nothing to look at; the reason says why."),
    Code("crashed", "The check itself failed; the trial is not accepted until it is fixed."),
)

PANEL_KIND = (
    Code("over_time", "Values over the trial's time in s."),
    Code("one_by_one", "One value for each footfall, contact, muscle or the like, in order."),
    Code("spectrum", "Values over frequencies in Hz."),
    Code("from_above", "Places in m: forward across, the runner's right upwards."),
    Code("from_side", "Places in m: forward across, up upwards."),
    Code("two_clocks", "Moments in s that two recorders or methods tell; nothing stands upwards."),
)

PART_ROLE = (
    Code("line", "A line, or moments, of what was seen."),
    Code("beside", "A line, or single values, to compare with."),
    Code("value", "Single values of what was seen; the name is the side, if there is one."),
    Code("expected", "Two points: lowest and highest of what is expected, null where it is open."),
    Code("contact", "From contact to toe-off of the foot that the name tells."),
    Code("span", "From start to end of what the finding is about."),
    Code("outline", "Corners of a plate or a foot."),
    Code("stick", "Markers in the order in which they are joined."),
    Code("measure", "Two points between which is measured; the name says what."),
)

DELIVERY_STATUS = (
    Code("taken_in", "The delivery was read and its trials were judged."),
    Code("stopped", "The delivery could not be taken in; nothing of it was used."),
    Code("repeat", "The same bytes had been taken in before."),
)

STRIKE_CLASS = (
    Code("rearfoot", "The heel meets the ground first."),
    Code("midfoot", "Heel and ball of the foot meet the ground about together."),
    Code("forefoot", "The ball of the foot meets the ground first."),
    Code("uncertain", "A cut-off between two classes lies nearer than the value's standard uncertainty."),
)

EVENT_METHOD = (
    Code("force", "Vertical force above the study file's threshold."),
    Code("sensor", "Footswitch or accelerometer under or on the foot."),
    Code("markers", "Movement of the foot markers."),
    Code("laboratory", "Marks that the site set in the file itself; compared with, never believed."),
)

EVENT = (Code("contact", "Start of contact."), Code("toe_off", "End of contact."))

#: By what the events behind a mean over trials were found.
COMPARED_METHOD = (
    *EVENT_METHOD,
    Code("none", "No events: the outcome needs none."),
    Code(
        "several",
        "Sites with different methods together, of each the method by which most of its runners have a difference, as in planned answers (of two with as many the first of force, sensor, markers); by how much methods differ is in method_offsets.",
    ),
)

CHANNEL_ROLE = (
    Code("muscle", "Surface electromyogram of one muscle.", scopes=("muscle",)),
    Code("foot_sensor", "Footswitch or accelerometer of one foot."),
    Code("tibial_accelerometer", "Accelerometer on the shin of one leg, along the tibia; unit [g] or m/s2."),
    Code("clock", "A signal shared by two recorders, for matching their clocks."),
    Code("other", "Anything else; kept, not used."),
)

ANALYSIS_WINDOW = (
    Code("pre_contact", "A window before contact, its length set in the study file."),
    Code("loading", "From contact to the end of the first part of contact set in the study file."),
    Code("push_off", "From there to toe-off."),
    Code("swing", "From toe-off to the start of the next pre-contact window."),
)

NORMALISATION = (
    Code("reference_contraction", "Divided by the amplitude of a reference contraction of the same session."),
    Code(
        "dynamic_peak",
        "Divided by the mean over strides of the largest root mean square over peak_window_s, in the reference condition of the same session.",
    ),
    Code("none", "Not normalised; comparable only within one recording."),
)

ONSET_METHOD = (
    Code("threshold", "The smoothed signal rises above baseline mean plus k standard deviations."),
    Code("energy_operator", "The same, after the Teager-Kaiser energy operator."),
    Code(
        "change_point",
        "The change of variance of greatest likelihood between the burst before and its strongest moment.",
    ),
)

BURST = (
    Code("pre_contact", "Before contact, and after the toe-off before."),
    Code("stance", "Between contact and toe-off; it may begin before contact."),
)

ONSET_QUALITY = (
    Code("all_agree", "All three detectors lie within onset_agreement_s of each other; the onset is the middle one."),
    Code("two_agree", "Two of them do, which is not sure enough, so no onset is given."),
    Code("detectors_differ", "No two of them do, so no onset is given."),
    Code("start_not_known", "Fewer than two detectors tell: it began before the record or in a gap, or too weakly."),
    Code("no_burst", "No burst was found there."),
    Code("signal_of_no_use", "Nothing was computed of this signal; muscle_signals says why."),
)

PLANE = (
    Code("sagittal", "Flexion and extension; at the ankle dorsi- and plantarflexion."),
    Code("frontal", "Ab- and adduction, inversion and eversion."),
    Code("transverse", "Internal and external rotation."),
)

JOINT = (
    Code("ankle", "Foot against shank."),
    Code("knee", "Shank against thigh."),
    Code("hip", "Thigh against pelvis."),
)

POOLING_METHOD = (
    Code(
        "one_stage_mixed_model",
        "Linear mixed model of all runners' differences at once by restricted likelihood: the true difference varies between sites, and a runner measured at several sites is one person.",
    ),
    Code(
        "random_effects_dersimonian_laird",
        "Random-effects meta-analysis of the sites' estimates; variance between sites by DerSimonian & Laird (1986).",
    ),
    Code(
        "random_effects_restricted_likelihood",
        "Random-effects meta-analysis of the sites' estimates; variance between sites by restricted likelihood (Viechtbauer 2005).",
    ),
)

ENERGY_EQUATION = (
    Code("peronnet_massicotte_1991", "16.89 kJ per L oxygen and 4.84 kJ per L carbon dioxide."),
    Code("brockway_1987", "16.58 kJ per L oxygen and 4.51 kJ per L carbon dioxide."),
    Code("weir_1949", "3.941 kcal per L oxygen and 1.106 kcal per L carbon dioxide."),
)

CONTRAST = (
    Code("condition", "Two conditions at one visit."),
    Code("visit", "One condition at a later visit and at the first of the plan: the change over the weeks."),
    Code("interaction", "The difference between two conditions at a later visit less that at the first of the plan."),
)

NO_DIFFERENCE = (
    Code("no_value", "No trial has a value in the condition at the visit."),
    Code("no_value_in_reference", "No trial has a value in the reference."),
    Code("no_value_in_either", "No trial has a value in either."),
)

FITTED_COMPONENTS = (
    Code("site_and_runner", "Between sites, between runners, and the rest."),
    Code("site", "Between sites, and the rest: nobody was measured at several sites."),
    Code("one_site", "One site only: the rest alone, a paired t-test, which says nothing of other sites."),
    Code(
        "site_means",
        "None: the plain mean of the sites' means, t on sites less 1, where the mixed model has no answer, or runners vary unequally between sites, none of them having travelled (Ibragimov & Muller 2010).",
    ),
)

INTERVAL = (
    Code(
        "kenward_roger",
        "Kenward & Roger (1997): t on the degrees of freedom that the variances' own uncertainty leaves, the standard error widened by it.",
    ),
    Code(
        "kenward_roger_sites",
        "The same estimate and standard error, t on the degrees of freedom that the sites have among themselves, sites less 1 without covariates, since Kenward & Roger's are fewer: with very unequal sites down to a tenth of one, and an interval of any width. How often these intervals hold the truth is in docs/reference/coverage.md.",
    ),
    Code(
        "sites_spread",
        "t on sites less 1, the error being what the spread of the sites' means says: where the mean of the sites' means stands in, and where the variance between sites was estimated as zero and this interval is wider than Kenward & Roger's, as it can be with unequal sites (then as the sites weigh, or all weighing alike, whichever is wider). No interval of the mixed model itself is narrower than Kenward & Roger's with no fewer degrees of freedom than the sites have; how often each kind holds the truth is in docs/reference/coverage.md.",
    ),
    Code(
        "runners_within_sites",
        "Of the mean of the sites' means, where these lie so close together that their spread would make the narrower interval: the error is that of the runners within each site, each site with its own variance, t on sites less 1: that the sites agree does not make more of them.",
    ),
    Code(
        "hartung_knapp",
        "Hartung & Knapp (2001): t on sites less 1 degrees of freedom; the variance is never below the normal interval's.",
    ),
    Code("normal", "Normal, with the variance of the random-effects mean."),
)

FAMILY = (
    Code("primary", "The analysis plan names the comparison among its primary ones."),
    Code("secondary", "The analysis plan names it among its secondary ones."),
    Code("exploratory", "No plan names it: it can raise a question and answers none."),
)
