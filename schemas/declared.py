"""Words that a study declares, with what each stands for: conditions, visits, marker roles, muscles."""

from __future__ import annotations

from pydantic import Field, model_validator

from schemas.anatomy import Landmark
from schemas.muscle_phases import MuscleKind, Phase
from schemas.settings import Settings


class Described(Settings):
    """Something that only needs a description."""

    description: str = Field(description="In a few words.")


class Visit(Settings):
    """One visit of the plan."""

    description: str = Field(default="", description="In a few words.")
    planned_week: int = Field(ge=0, description="Week of the change-over in which the visit is due.")


class MarkerRole(Settings):
    """One anatomical landmark that labs mark."""

    description: str = Field(description="Where the marker sits.")
    sided: bool = Field(
        default=True, description="Whether there is one on each side; then roles end in _left and _right."
    )
    required: bool = Field(default=False, description="Whether a trial without it goes back.")
    landmark: Landmark | None = Field(
        default=None, description="Which landmark it is; needed only where the role is called something else."
    )


class AnyOf(Described):
    """Something that a trial needs and that sites may give in one of several ways, such as a hip centre."""

    ways: tuple[tuple[str, ...], ...] = Field(
        min_length=2,
        description="Marker roles, way by way, each a list; the first of which a site labels every one is what it has to send, on both sides.",
    )

    @model_validator(mode="after")
    def _no_empty_way(self) -> AnyOf:
        if not all(self.ways):
            raise ValueError("each way names one marker role or more")
        return self


class MuscleSpec(Described):
    """One muscle of the study."""

    kind: MuscleKind | None = Field(
        default=None,
        description="Muscles of which kind it is active with in running; needed only where the muscle has no SENIAM name. A muscle of no kind and without a phase is not judged by phase.",
    )
    phase: Phase | None = Field(
        default=None,
        description="When it is active and when silent in the stride; needed only where it is not what muscles of its kind do.",
    )
