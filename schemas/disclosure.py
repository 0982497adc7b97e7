"""How exactly a release may tell who runners are: the study's own bands, and how many runners may be left out of them."""

from __future__ import annotations

from itertools import pairwise

from pydantic import Field, field_validator

from schemas.settings import Settings


class Disclosure(Settings):
    """What a release tells of columns by which runners could be known together."""

    bands: dict[str, tuple[float, ...]] = Field(
        default_factory=dict,
        description="Column of runners, for example stature_m, to the widths of the bands it may be given in, in the column's unit, the narrowest first. Other columns keep the bands of their definitions.",
    )
    most_suppressed: float = Field(
        default=0.1,
        ge=0,
        le=1,
        description="Up to this part of the runners is left without any description, before bands are made wider for all. Own limit.",
    )

    @field_validator("bands")
    @classmethod
    def _wider_and_wider(cls, bands: dict[str, tuple[float, ...]]) -> dict[str, tuple[float, ...]]:
        for name, widths in bands.items():
            if not widths or widths[0] <= 0 or any(b <= a for a, b in pairwise(widths)):
                raise ValueError(f"the bands of {name} must be above 0, each wider than the one before")
        return bands
