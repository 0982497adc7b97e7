"""How joints become outcomes: landmarks, the filter of inverse dynamics, the tendon's model; with units and sources."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from schemas.settings import Settings


class JointProcessing(Settings):
    """How joint angles and moments are computed: which landmark is which, and the filter of inverse dynamics."""

    ankle_role: str = Field(default="lateral_malleolus", description="Marker role of the ankle in the sagittal plane.")
    knee_role: str = Field(
        default="lateral_femoral_epicondyle", description="Marker role of the knee in the sagittal plane."
    )
    hip_role: str = Field(
        default="greater_trochanter",
        description="Marker role of the hip in the sagittal plane; where a trial lacks it, the hip joint centre is estimated from the pelvis markers (Harrington et al. 2007).",
    )
    ankle_medial_role: str = Field(
        default="medial_malleolus", description="Second marker role of the ankle, for angles in space."
    )
    knee_medial_role: str = Field(
        default="medial_femoral_epicondyle", description="Second marker role of the knee, for angles in space."
    )
    foot_outer_role: str = Field(
        default="fifth_metatarsal_head", description="Marker role of the foot's outer side, for angles in space."
    )
    foot_inner_role: str = Field(
        default="first_metatarsal_head",
        description="Marker role of the foot's inner side, for angles in space; where a trial lacks it, the forefoot role stands in.",
    )
    pelvis_front_role: str = Field(
        default="anterior_superior_iliac_spine", description="Marker role of the front of the pelvis, one on each side."
    )
    pelvis_back_role: str = Field(
        default="posterior_superior_iliac_spine", description="Marker role of the back of the pelvis, one on each side."
    )
    pelvis_back_middle_role: str = Field(
        default="sacrum", description="Marker role between the two at the back; stands in where a trial lacks them."
    )
    moment_cutoff_hz: float = Field(
        default=20.0,
        gt=0,
        description="Zero-lag low-pass of markers and force alike before inverse dynamics. Common practice: the same cut-off for both, 15 to 20 Hz. Below half of each site's marker rate.",
    )
    segments_when_sex_unknown: Literal["female", "male", "mean"] = Field(
        default="mean",
        description="Segment parameters (de Leva 1996) of runners who did not state female or male; mean is the mean of the two columns, our own choice.",
    )
    achilles_moment_arm_m: float = Field(
        default=0.037,
        gt=0.01,
        lt=0.1,
        description="Moment arm of the Achilles tendon by which the ankle's moment is divided to estimate the tendon's force. 0.036 to 0.038 m in ten men who pushed, from 20 degrees of dorsiflexion to 20 of plantarflexion (Manal et al. 2013, Physiol Rep 1:e00139). Other methods give up to 0.061 m, with which the force is as much smaller: name what you take.",
    )
