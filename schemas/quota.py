"""How much one delivery may be, as the study file sets it: files, bytes, packing, texts, and the time to open it.

A real delivery of 200 trials of 30 s is about 1 GiB; the defaults leave four times that. What a single trial may take
stands in ``schemas.study``.
"""

from __future__ import annotations

from pydantic import Field

from schemas.settings import Settings

MIB = 1 << 20


class Quota(Settings):
    """What one delivery may take."""

    most_files: int = Field(default=5000, ge=10, description="Files and folders of one delivery.")
    most_mib: float = Field(default=4096.0, gt=0, description="Size of all its files together, unpacked, in MiB.")
    most_times_packed: float = Field(
        default=50.0,
        gt=1,
        description="How many times the size of a ZIP file its content may be; recordings pack to a half or a quarter. "
        "Of what unpacks to 16 MiB or less it is not asked.",
    )
    most_text_mib: float = Field(
        default=1.0,
        gt=0,
        description="Text that is searched for what may identify a person, in MiB; a cell counts once however often "
        "it stands there. A delivery with more is stopped, since the rest would not have been searched.",
    )
    opening_time_limit_s: float = Field(
        default=900.0, gt=0, description="Unpacking a delivery, its checksums, tables and search may take this long."
    )

    @property
    def most_bytes(self) -> int:
        """``most_mib`` in bytes."""
        return int(self.most_mib * MIB)
