"""What is worked out from one trial: each thing once, when it is first asked for, and thrown away with the trial.

Outcomes and checks take from here, so that a check judges the very contact, angle or muscle that an outcome used. The
families' own modules define and compute; here is only what feeds what.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from pipelines.science.curves import Series, angle_series, curve_rows, force_series, load_series
from pipelines.science.equipment.plates import PlateReading, plate_readings, without_levels
from pipelines.science.equipment.readings import camera_rows, equipment_rows
from pipelines.science.events.agreement import event_agreement, footfall_events
from pipelines.science.events.contacts import Contacts
from pipelines.science.events.switches import Switch, switches_of
from pipelines.science.footfall_signals import Signals
from pipelines.science.footfalls import footfall_rows, mean_speed
from pipelines.science.frames import Rows
from pipelines.science.gait.spells import Foot, lower_foot
from pipelines.science.joints.anatomy import Anatomy
from pipelines.science.joints.outcomes import JointAngle, Joints, joint_rows, joint_series
from pipelines.science.known_again import shape_rows
from pipelines.science.muscles.measures import Muscle, contacts_by_side, judged_muscles, raw_muscles
from pipelines.science.muscles.outcomes import MuscleOutcomes, Muscles, muscle_outcomes
from pipelines.science.muscles.phases import Phased, Unnamed, phased, unnamed
from pipelines.science.signals.coded import Coded, coded
from pipelines.science.signals.measures import BoolArray
from pipelines.science.signals.smooth import SmoothMarkers
from pipelines.science.strikes import with_classes
from pipelines.science.trial_outcomes import trial_outcomes
from pipelines.science.uncertainties import outcome_uncertainties
from pipelines.science.whole_trial import Value, whole_trial
from schemas.equipment import EQUIPMENT_READINGS
from schemas.muscle_phases import SENIAM, MusclePhases
from schemas.outcomes import FOOTFALLS
from schemas.outcomes_of_trials import TRIAL_OUTCOMES
from schemas.outcomes_signals import CLOCK_FITS, EVENT_AGREEMENT, FOOTFALL_EVENTS
from schemas.processing import Processing
from schemas.trial import Posture, Trial

if TYPE_CHECKING:
    from pipelines.science.muscles.amplitudes import Reference
    from pipelines.science.muscles.signal import Key


class Workspace:
    """One trial and what is made of it.

    posture: of the standing trial. references: what muscle amplitudes are divided by. clock: the row of ``clock_fits``
    less provenance that tells how a second file was matched; None without one. muscle_phases: when which is active.
    Nothing here raises on bad signals: what cannot be computed is null or has no row. Nobody writes to an array that
    comes from here.
    """

    def __init__(
        self,
        trial: Trial,
        processing: Processing,
        posture: Posture | None = None,
        references: Mapping[Key, Reference] | None = None,
        clock: Mapping[str, Any] | None = None,
        muscle_phases: MusclePhases = SENIAM,
    ) -> None:
        self.trial, self.processing, self.posture = trial, processing, posture
        self.references, self.clock, self.muscle_phases = references or {}, clock, muscle_phases

    def given(self, **parts: Any) -> Workspace:
        """A workspace of the same trial in which these parts, by name, are taken as given instead of computed."""
        other = Workspace(self.trial, self.processing, self.posture, self.references, self.clock, self.muscle_phases)
        for name, part in parts.items():
            if not isinstance(vars(Workspace).get(name), cached_property):
                raise AttributeError(f"{name} is no part of a workspace")
            vars(other)[name] = part
        return other

    # --- signals and events -------------------------------------------------------------------------------------

    @cached_property
    def smooth(self) -> SmoothMarkers:
        """Filtered marker paths."""
        return SmoothMarkers(self.trial, self.processing)

    @cached_property
    def plate_readings(self) -> tuple[PlateReading, ...]:
        """What each plate reads with nobody on it."""
        return plate_readings(self.trial)

    @cached_property
    def corrected(self) -> Trial:
        """The trial that outcomes are computed from: small levels of its plates are taken off."""
        return without_levels(self.trial, self.plate_readings, self.processing.largest_level_n)

    @cached_property
    def contacts(self) -> Contacts:
        """Contacts by each method."""
        return Contacts(self.corrected, self.processing, self.smooth)

    @cached_property
    def signals(self) -> Signals:
        """Force, centre of pressure and markers as footfalls need them."""
        return Signals(self.corrected, self.processing, self.contacts, self.smooth)

    @cached_property
    def speed_m_per_s(self) -> float | None:
        """Running speed; None where it is not known."""
        return mean_speed(self.trial, self.processing)

    @cached_property
    def carrying_foot(self) -> Foot | None:
        """The lower foot at each force sample; None without markers of both or without force."""
        if not self.trial.plates or not self.trial.analog_rate_hz:
            return None
        times = np.arange(len(self.trial.plates[0].force)) / self.trial.analog_rate_hz
        return lower_foot(self.trial, self.processing, times)

    @cached_property
    def joint_angles(self) -> tuple[JointAngle, ...]:
        """Every joint angle over the trial."""
        return joint_series(self.trial, self.posture, self.processing, self.smooth)

    @cached_property
    def joints(self) -> Joints:
        """Angles and moments of joints, to be read contact by contact."""
        return Joints(self.trial, self.joint_angles, self.processing, self.smooth, self.contacts.ground)

    @cached_property
    def muscles(self) -> Muscles:
        """Muscle signals, conditioned."""
        return Muscles(self.trial.signals, self.processing.muscle)

    @cached_property
    def judged_muscles(self) -> list[Muscle]:
        """Muscle signals that checks can judge, in whatever form they came."""
        return judged_muscles(self.trial, self.muscles)

    @cached_property
    def raw_muscles(self) -> list[Muscle]:
        """Those of them that are neither stuck nor rectified or smoothed."""
        return raw_muscles(self.judged_muscles)

    @cached_property
    def phased_muscles(self) -> list[Phased]:
        """How well muscles fit the parts of the stride that each kind works in."""
        return phased(self.raw_muscles, self.muscle_phases, contacts_by_side(self.footfalls))

    @cached_property
    def unnamed_muscles(self) -> list[Unnamed]:
        """Channels of muscles whose name or side nobody told, with what their signal tells of the side."""
        return unnamed(self.trial, self.processing.muscle, self.muscle_phases, contacts_by_side(self.footfalls))

    @cached_property
    def switches(self) -> list[Switch]:
        """Footswitches with their levels and closings."""
        return switches_of(self.trial, self.processing.sensors)

    @cached_property
    def coded(self) -> list[Coded]:
        """Channels as numbers of their converters' steps; short ones and those with gaps are left out."""
        return [one for signal in self.trial.signals if (one := coded(signal)) is not None]

    @cached_property
    def measured(self) -> dict[str, BoolArray]:
        """Role with side -> (frames,) whether the file itself holds a position: neither missing nor filled."""
        found: dict[str, BoolArray] = {}
        for role, path in self.trial.markers.items():
            seen, filled = np.asarray(np.isfinite(path).all(axis=1)), self.trial.filled.get(role)
            found[role] = seen & ~filled if filled is not None and len(filled) == len(path) else seen
        return found

    @cached_property
    def anatomy(self) -> Anatomy:
        """Where the trial's landmarks lie to each other."""
        return Anatomy(self.trial.markers)

    # --- tables, as rows less provenance ------------------------------------------------------------------------

    @cached_property
    def footfalls(self) -> Rows:
        """Complete footfalls in order of time, their classes of foot strike left null; none where nobody runs."""
        if self.trial.kind != "running":
            return Rows.of(FOOTFALLS, [])
        return footfall_rows(self.signals, self.posture, self.speed_m_per_s)

    @cached_property
    def classed_footfalls(self) -> Rows:
        """The same with the classes of foot strike that their uncertainties allow."""
        return with_classes(self.footfalls, self.outcome_uncertainties, self.processing)

    @cached_property
    def trial_outcomes(self) -> Rows:
        """The one row about the trial as a whole."""
        row = trial_outcomes(self.corrected, self.footfalls, self.speed_m_per_s, self.posture)
        return Rows.of(TRIAL_OUTCOMES, [row | {name: own.value for name, own in self.whole_trial.items()}])

    @cached_property
    def whole_trial(self) -> dict[str, Value]:
        """Asymmetry, variability and load of a kilometre, by column of ``trial_outcomes``."""
        return whole_trial(self.footfalls, self.footfall_joints)

    @cached_property
    def event_agreement(self) -> Rows:
        """How well two methods of finding events agree."""
        basis = self.clock["clock_basis"] if self.clock is not None and self.clock["is_matched"] else None
        return Rows.of(EVENT_AGREEMENT, event_agreement(self.trial.trial_id, self.contacts.by_method, basis))

    @cached_property
    def footfall_events(self) -> Rows:
        """Each footfall's events by the other methods."""
        return Rows.of(FOOTFALL_EVENTS, footfall_events(self.footfalls, self.contacts.by_method))

    @cached_property
    def footfall_joints(self) -> Rows:
        """Angles and moments of each footfall."""
        return joint_rows(self.footfalls, self.joints)

    @cached_property
    def muscle_outcomes(self) -> MuscleOutcomes:
        """The four tables about muscles."""
        return muscle_outcomes(self.trial.trial_id, self.muscles, self.footfalls, self.references)

    @cached_property
    def equipment_readings(self) -> Rows:
        """What the equipment showed, and what was corrected."""
        if self.trial.kind == "standing":
            return camera_rows(self.trial, self.processing)
        if self.trial.kind != "running":
            return Rows.of(EQUIPMENT_READINGS, [])
        ground = self.contacts.ground
        return equipment_rows(self.corrected, self.plate_readings, ground, self.footfalls, self.processing, self.clock)

    @cached_property
    def outcome_uncertainties(self) -> Rows:
        """How far the footfalls' outcomes can be trusted."""
        return outcome_uncertainties(self)

    def as_it_is(self, trial: Trial, processing: Processing | None = None, **parts: Any) -> Workspace:
        """A workspace of a changed trial, or of other settings, from which no level is taken off once more."""
        other = Workspace(trial, processing or self.processing, self.posture)
        return other.given(corrected=trial, **parts)

    @cached_property
    def trial_shapes(self) -> Rows:
        """What copies of the recording are known by."""
        return shape_rows(self.trial, self.processing)

    @cached_property
    def curves(self) -> Rows:
        """Mean curves of force, angles, powers, loads and muscle envelopes."""
        series = [
            *force_series(self.trial, self.signals.filtered_vertical),
            *angle_series(self.trial, self.joint_angles),
            *load_series(self.joints.moments, self.footfalls),
            *self._envelopes(),
        ]
        return curve_rows(self.trial.trial_id, self.footfalls, series)

    @cached_property
    def clock_fits(self) -> Rows:
        """The row of a second file's clock, if there is a second file."""
        return Rows.of(CLOCK_FITS, [self.clock] if self.clock is not None else [])

    def outcomes(self) -> dict[str, Rows]:
        """Table name -> rows, of every table that a trial of its kind fills."""
        if self.trial.kind != "running":
            return {"equipment_readings": self.equipment_readings, "trial_shapes": self.trial_shapes}
        muscles = self.muscle_outcomes
        return {
            "footfalls": self.classed_footfalls,
            "trial_outcomes": self.trial_outcomes,
            "event_agreement": self.event_agreement,
            "footfall_events": self.footfall_events,
            "footfall_joints": self.footfall_joints,
            "muscle_amplitudes": muscles.amplitudes,
            "muscle_bursts": muscles.bursts,
            "co_contractions": muscles.co_contractions,
            "muscle_signals": muscles.signals,
            "equipment_readings": self.equipment_readings,
            "outcome_uncertainties": self.outcome_uncertainties,
            "trial_shapes": self.trial_shapes,
            "curves": self.curves,
            "clock_fits": self.clock_fits,
        }

    def _envelopes(self) -> list[Series]:
        found = []
        for (muscle, side), own in self.muscles.conditioned.items():
            if not own.gain_known:
                continue
            times = own.start_s + np.arange(len(own.samples)) / own.rate_hz
            values = self.muscles.envelopes[muscle, side]
            found.append(Series(f"{muscle}_envelope_uv", "uV", side, "stride", times, values))
        return found
