"""What of a table leaves the depot in a release: an allow-list in each definition, and what no list may name.

What is not named stays: a new column, and a new outcome in rows that tell their quantity, are in no release until
somebody has put them here. The same quantity may leave over runners and stay where a row is of one runner.

Mass, stature and leg length are told in bands. On paper, which numbers of one runner would tell them exactly:

* Mass. Think of the same movement by a runner of L times the mass. Forces in body weights, moments and power per kg,
  times, lengths and angles are the same, so that no formula of them tells the mass. Not the same is what holds a number
  of newtons: values in N and kN/m; what a plate's level or noise is worth in body weights, being the plate's newtons
  over the runner's weight; and force over a contact that begins and ends at a threshold in newtons, whose first and
  last point is threshold / (mass g). They stay. The same threshold moves contact and toe-off: 3 ms in
  all between 50 and 90 kg, where force rises by 60 and falls by 7.5 body weights a second as in the demonstration, whose
  runners' contact times spread by 7 ms (standard deviation).
* Leg length. While the foot is flat the hip travels speed x time, and that is thigh x (change of the sine of its
  inclination) + shank x (the same): curves of knee and ankle angle tell the leg. A moment per kg over the force in
  body weights is g x a lever arm, which grows with the foot. How far an angle can be trusted is an error of markers
  over the length of the segment. They stay, too.

What else grows with the body (step length, contact time at a speed) tells it as far as runners are alike, by no formula that was found.
"""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING

from schemas.privacy import RUNNER, Privacy
from schemas.units import OF_ROW, grows_with_mass

if TYPE_CHECKING:
    from schemas.model import Field, Table


@dataclass(frozen=True)
class Leaves:
    """Columns of a table that leave, parted by spaces; each row as it is.

    by: the column in which a row says of which quantity it tells. quantities: those of which rows leave, parted by
    spaces; of a word with slashes the part behind the last counts. A star stands for a word of the study, as a muscle.
    unless: a column of words; rows in which it says anything but "none" stay.
    """

    columns: str
    by: str | None = None
    quantities: str = ""
    unless: str | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """The columns."""
        return tuple(self.columns.split())

    def lets(self, quantity: str) -> bool:
        """Whether rows of ``quantity`` leave."""
        own = quantity.rpartition("/")[2]
        return any(fnmatchcase(own, one) for one in self.quantities.split())


#: Outcomes that leave where a row is of one runner or of one recording.
OF_RUNNERS = (
    "contact_time_s flight_time_s step_time_s stride_time_s cadence_step_per_min step_length_m stride_length_m "
    "speed_m_per_s duty_factor_fraction impact_peak_bw impact_peak_time_s active_peak_bw active_peak_time_s "
    "average_loading_rate_bw_per_s instantaneous_loading_rate_bw_per_s loading_rate_to_peak_bw_per_s "
    "vertical_impulse_bw_s braking_impulse_bw_s propulsive_impulse_bw_s net_fore_aft_impulse_bw_s braking_peak_bw "
    "propulsive_peak_bw mean_vertical_force_bw foot_strike_angle_deg strike_index_percent angle_at_contact_deg "
    "angle_peak_deg angle_range_deg amplitude_fraction onset_before_contact_s offset_after_contact_s "
    "metabolic_power_w_per_kg energy_cost_j_per_kg_m oxygen_cost_ml_per_kg_km"
)
#: Outcomes that leave as estimates over runners.
OVER_RUNNERS = f"{OF_RUNNERS} moment_peak_nm_per_kg"
#: Curves that leave as differences over runners.
CURVES_OVER_RUNNERS = (
    "vertical_force_bw ankle_sagittal_angle_deg knee_sagittal_angle_deg hip_sagittal_angle_deg "
    "hip_sagittal_angle_to_vertical_deg *_envelope_uv"
)


def why_not(table: Table) -> str | None:
    """What of a table's ``leaves`` no release may hold, as a clause; None if all of it may leave."""
    leaves = table.leaves
    if leaves is None:
        return None
    if table.rows is None:
        return "a table leaves only if it says whose its rows are"
    if unknown := set(leaves.names) - set(table.column_names):
        return f"what leaves names unknown columns {sorted(unknown)}"
    if left := set(table.key) - set(leaves.names):
        return f"a table leaves with its key, without which it would not say what its rows are: {sorted(left)}"
    fields = [table.column(name) for name in leaves.names]
    if leaves.unless is not None and leaves.unless not in table.column_names:
        return f"rows stay by {leaves.unless}, which is no column of it"
    if leaves.by is not None and leaves.by not in leaves.names:
        return f"rows say by {leaves.by} of which quantity they tell, so that it leaves with them"
    if (leaves.by is None) != (not leaves.quantities):
        return "quantities that leave need the column that names them, and the other way round"
    if leaves.by is None and any(field.unit == OF_ROW for field in fields):
        return "rows that tell their unit leave by quantity"
    return next((why for field in fields if (why := _why_no_column(table, field)) is not None), None)


def _why_no_column(table: Table, field: Field) -> str | None:
    """How many runners share a value can be counted only where a row is a runner."""
    if field.privacy is Privacy.QUASI:
        counted = field.told is not None and table.key == (RUNNER,)
        return None if counted else f"{field.name} leaves only in bands, where a row is a runner"
    if field.privacy not in (Privacy.PLAIN, Privacy.SENSITIVE) and not field.is_code_of_the_study:
        return f"{field.name} is {field.privacy}, which no release may hold"
    if field.unit not in (None, OF_ROW) and grows_with_mass(str(field.unit)):
        return f"{field.name} grows with body mass, which is given in bands"
    return None
