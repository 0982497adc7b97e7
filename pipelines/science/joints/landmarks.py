"""Which marker is which landmark of one leg, and which segments a trial's markers allow. Angles are made elsewhere.

Every definition is chosen by what the trial has, and the standing posture is then measured by the same definition, so
that a marker missing in one of the two can never make a zero that means something else.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pipelines.science.joints import frames as joint_frames
from schemas.processing import Processing
from schemas.trial import FloatArray


def seen(markers: Mapping[str, FloatArray]) -> frozenset[str]:
    """Names of the markers that are there in at least one frame."""
    return frozenset(name for name, path in markers.items() if np.isfinite(path).all(axis=-1).any())


def roles_of_foot(processing: Processing) -> tuple[str, ...]:
    """Markers of the foot and its malleoli, without their sides."""
    own = processing.joints
    foot = processing.heel_role, processing.forefoot_role, processing.toe_role
    return (*foot, own.ankle_role, own.ankle_medial_role, own.foot_outer_role, own.foot_inner_role)


def names_of_leg(side: str, processing: Processing) -> tuple[str, ...]:
    """Names of all markers that ``Landmarks`` of one leg and the pelvis may take."""
    own = processing.joints
    of_leg = (*roles_of_foot(processing), own.knee_role, own.knee_medial_role, own.hip_role)
    pelvis = [f"{role}_{one}" for role in (own.pelvis_front_role, own.pelvis_back_role) for one in ("left", "right")]
    return (*dict.fromkeys(f"{role}_{side}" for role in of_leg), *pelvis, own.pelvis_back_middle_role)


class Landmarks:
    """Landmarks of one leg and the pelvis, (n, 3) m each; None where the trial's markers do not allow one.

    markers: role with side -> (n, 3) m, of a trial or, with n = 1, of a posture. roles: the markers the trial has; one
    that is among them but not in ``markers`` is NaN.
    """

    def __init__(
        self, markers: Mapping[str, FloatArray], side: str, processing: Processing, roles: frozenset[str]
    ) -> None:
        self.markers, self.side, self.roles = markers, side, roles
        self.processing, self.settings = processing, processing.joints
        self.length = max((len(path) for path in markers.values()), default=0)

    def _marker(self, name: str) -> FloatArray | None:
        if name not in self.roles:
            return None
        unseen: FloatArray = np.full((self.length, 3), np.nan)
        return self.markers.get(name, unseen)

    def _of_side(self, role: str) -> FloatArray | None:
        return self._marker(f"{role}_{self.side}")

    @property
    def heel(self) -> FloatArray | None:
        """Back of the foot."""
        return self._of_side(self.processing.heel_role)

    @property
    def forefoot(self) -> FloatArray | None:
        """Front end of the foot line."""
        return self._of_side(self.processing.forefoot_role)

    @property
    def toe(self) -> FloatArray | None:
        """Tip of the foot, by the foot length of the strike index: the heel-to-toe_role line made longer."""
        marker = self._of_side(self.processing.toe_role)
        if marker is None or self.heel is None:
            return None
        return self.heel + self.processing.strike_index_toe_fraction * (marker - self.heel)

    @property
    def ankle(self) -> FloatArray | None:
        """Ankle in the sagittal plane: the outer marker, so that all labs mean the same."""
        return self._of_side(self.settings.ankle_role)

    @property
    def knee(self) -> FloatArray | None:
        """Knee in the sagittal plane: the outer marker."""
        return self._of_side(self.settings.knee_role)

    @property
    def hip(self) -> FloatArray | None:
        """Hip in the sagittal plane: its own marker or, where the trial has none, the hip joint centre."""
        marker = self._of_side(self.settings.hip_role)
        return self.hip_centre if marker is None else marker

    @property
    def pelvis_front(self) -> tuple[FloatArray, FloatArray] | None:
        """Anterior spines, left and right."""
        left, right = (self._marker(f"{self.settings.pelvis_front_role}_{side}") for side in ("left", "right"))
        return None if left is None or right is None else (left, right)

    @property
    def pelvis_back(self) -> FloatArray | None:
        """Midpoint of the posterior spines or, where the trial lacks one of them, the marker between them."""
        left, right = (self._marker(f"{self.settings.pelvis_back_role}_{side}") for side in ("left", "right"))
        if left is None or right is None:
            return self._marker(self.settings.pelvis_back_middle_role)
        return (left + right) / 2

    @property
    def hip_centre(self) -> FloatArray | None:
        """Hip joint centre from the pelvis markers."""
        front, back = self.pelvis_front, self.pelvis_back
        return None if front is None or back is None else joint_frames.hip_centre(*front, back, self.side)

    @property
    def has_pelvis(self) -> bool:
        """Whether any pelvis marker is there at all, even if too few to tell how the pelvis is tilted."""
        settings = self.settings
        return any(
            name == settings.pelvis_back_middle_role
            or name.rpartition("_")[0] in (settings.pelvis_front_role, settings.pelvis_back_role)
            for name in self.roles
        )

    def frames(self) -> dict[str, FloatArray]:
        """Anatomical frames (n, 3, 3) of pelvis, thigh, shank and foot, as far as the markers allow."""
        ankle, ankle_medial = self.ankle, self._of_side(self.settings.ankle_medial_role)
        knee, knee_medial = self.knee, self._of_side(self.settings.knee_medial_role)
        front, back, hip = self.pelvis_front, self.pelvis_back, self.hip_centre
        heel, forefoot, outer = self.heel, self.forefoot, self._of_side(self.settings.foot_outer_role)
        inner = self._of_side(self.settings.foot_inner_role)
        inner = forefoot if inner is None else inner
        made: dict[str, FloatArray] = {}
        if front is not None and back is not None:
            made["pelvis"] = joint_frames.pelvis_frame(*front, back)
        if knee is not None and knee_medial is not None:
            if hip is not None:
                made["thigh"] = joint_frames.thigh_frame(hip, knee, knee_medial, self.side)
            if ankle is not None and ankle_medial is not None:
                made["shank"] = joint_frames.shank_frame(knee, knee_medial, ankle, ankle_medial, self.side)
        if heel is not None and forefoot is not None and outer is not None and inner is not None:
            made["foot"] = joint_frames.foot_frame(heel, forefoot, outer, inner, self.side)
        return made
