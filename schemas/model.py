"""Field and Table: the one definition of a table that everything else is made from.

Here lives only the form of a definition and its self-checks. The definitions themselves are in ``delivery``,
``core``, ``outcomes`` and ``quality``; what is made from them is in ``schemas.convert``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from enum import StrEnum

from schemas.leaving import Leaves, why_not
from schemas.privacy import TRIAL, Privacy, Rows, Told
from schemas.units import OF_ROW, grows_with_mass, refusal_of_unit


class Kind(StrEnum):
    """The closed list of what a column can hold."""

    IDENTIFIER = "identifier"  # a short key: letters, digits, dot, dash, underscore
    CODE = "code"  # one word of a closed list, or of a list in the study file
    TEXT = "text"
    INTEGER = "integer"
    REAL = "real"
    BOOLEAN = "boolean"


class Layer(StrEnum):
    """Where on the way from site to statistician a table stands."""

    DELIVERY = "delivery"
    CORE = "core"
    OUTCOME = "outcome"
    QUALITY = "quality"


LAYER_MEANING = {
    Layer.DELIVERY: "What a site sends, cell by cell as it came.",
    Layer.CORE: "Who, where, when and what was recorded, keyed and pooled over the sites.",
    Layer.OUTCOME: "What was computed from accepted trials.",
    Layer.QUALITY: "What the checks saw and what became of each trial.",
}

#: A real column says its unit twice, for people in its name and for programs as a UCUM code; this keeps them equal.
#: The longest suffix that fits a name decides.
SUFFIX_UNITS = {
    "_bw_per_s": "{BW}/s",
    "_n_per_s": "N/s",
    "_bw_s": "{BW}.s",
    "_bw_s_per_km": "{BW}.s/km",
    "_bw_per_km": "{BW}/km",
    "_per_km": "/km",
    "_kn_per_m": "kN/m",
    "_m_per_s": "m/s",
    "_km_per_wk": "km/wk",
    "_w_per_kg": "W/kg",
    "_j_per_kg": "J/kg",
    "_j_per_kg_m": "J/(kg.m)",
    "_ml_per_kg_km": "mL/(kg.km)",
    "_ml_per_min": "mL/min",
    "_nm_per_kg": "N.m/kg",
    "_nm_per_kg_deg": "N.m/(kg.deg)",
    "_per_min": "/min",
    "_step_per_min": "{step}/min",
    "_ppm": "[ppm]",
    "degrees_of_freedom": "1",
    "_p_value": "1",
    "_value": OF_ROW,  # the unit differs from row to row and stands in the row itself
    "_fraction": "1",
    "_percent": "%",
    "_percent_per_min": "%/min",
    "_ratio": "1",
    "_index": "1",
    "_score": "1",
    "_bw": "{BW}",
    "_nm": "N.m",
    "_deg": "deg",
    "_db": "dB",
    "_in_g": "[g]",
    "_min": "min",
    "_ms": "ms",
    "_mm": "mm",
    "_kg": "kg",
    "_hz": "Hz",
    "_uv": "uV",
    "_n": "N",
    "_s": "s",
    "_m": "m",
    "_day": "d",
    "_year": "a",
}

_NAME = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")


class DefinitionError(ValueError):
    """A table definition contradicts itself; raised when the definition is imported."""


@dataclass(frozen=True)
class Code:
    """One word of a closed vocabulary. scopes: what such a row needs consent for, beyond what its table does."""

    value: str
    meaning: str
    scopes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Field:
    """One column.

    ``unit`` is a UCUM code and is required for every real number. ``low`` and ``high`` are inclusive bounds a value
    must keep to be possible at all; what is merely unusual is a matter for checks. ``study_list`` names the list of
    the study file whose keys are the allowed words (``conditions``, ``visits``, ``muscles``, ``marker_roles``). A
    column that ``may_be_left_out`` need not be in the file a site sends; every cell then counts as empty.

    ``privacy`` is what it can tell of a person, closed until said; a quasi column that leaves does so only in the way
    that ``told`` says, and only of a runner. A column that ``names_file`` holds the path of a file of the payload, which goes wherever its row goes.
    """

    name: str
    kind: Kind
    description: str
    unit: str | None = None
    low: float | None = None
    high: float | None = None
    codes: tuple[Code, ...] = ()
    study_list: str | None = None
    nullable: bool = False
    may_be_left_out: bool = False  # only columns of delivery tables
    privacy: Privacy = Privacy.CLOSED
    told: Told | None = None  # only of a quasi column
    names_file: bool = False

    def __post_init__(self) -> None:
        if not _NAME.fullmatch(self.name):
            raise DefinitionError(f"column {self.name!r}: use lower-case words joined by single underscores")
        if not self.description.endswith("."):
            raise DefinitionError(f"column {self.name}: the description must be a sentence ending in a full stop")
        if self.kind is Kind.REAL and not self.unit:
            raise DefinitionError(f"column {self.name}: a real number needs a UCUM unit ('1' if it has none)")
        if self.unit is not None and (why := refusal_of_unit(self.unit)) is not None:
            raise DefinitionError(f"column {self.name}: {why}")
        if self.kind is Kind.REAL and (expected := suffix_unit(self.name)) != self.unit:
            raise DefinitionError(f"column {self.name}: the name says unit {expected!r}, the field says {self.unit!r}")
        if self.codes and self.kind is not Kind.CODE:
            raise DefinitionError(f"column {self.name}: only a code column has a list of codes")
        if self.kind is Kind.CODE and not self.codes and not self.study_list:
            raise DefinitionError(f"column {self.name}: a code column needs its words or the study list they come from")
        if self.may_be_left_out and not self.nullable:
            raise DefinitionError(f"column {self.name}: one that may be left out may be empty, too")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise DefinitionError(f"column {self.name}: low {self.low} is above high {self.high}")
        if self.told and self.privacy is not Privacy.QUASI:
            raise DefinitionError(f"column {self.name}: only a quasi column says how a release tells it")
        if self.told and bool(self.told.bands) != (self.kind in (Kind.INTEGER, Kind.REAL)):
            raise DefinitionError(f"column {self.name}: numbers are given in bands, and only they")
        if self.names_file and (self.kind is not Kind.TEXT or self.privacy is not Privacy.IDENTIFIES):
            raise DefinitionError(f"column {self.name}: the path of a file is a text that identifies")

    @property
    def is_code_of_the_study(self) -> bool:
        """Whether it holds a short key that the study gave to a runner, a session or a trial: a pseudonym."""
        return self.kind is Kind.IDENTIFIER and self.privacy is Privacy.IDENTIFIES


def suffix_unit(name: str) -> str | None:
    """The UCUM unit that a column name's ending stands for; None where no known ending fits."""
    fitting = [suffix for suffix in SUFFIX_UNITS if name.endswith(suffix)]
    return SUFFIX_UNITS[max(fitting, key=len)] if fitting else None


@dataclass(frozen=True)
class Reference:
    """Columns of this table that must name a row of another table."""

    columns: tuple[str, ...]
    table: str
    table_columns: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """One table. ``one_row_is`` completes the sentence "One row is ...".

    ``rows`` says whose they are; no delivery table may be silent. ``leaves`` is all that a release holds of it, by
    default nothing. ``pools``: the delivery table of which it holds what consent covers.
    """

    name: str
    layer: Layer
    one_row_is: str
    key: tuple[str, ...]
    fields: tuple[Field, ...]
    references: tuple[Reference, ...] = ()
    file_name: str | None = None  # only delivery tables: the CSV in the bag's payload
    optional: bool = False  # only delivery tables: the lab may leave the file out
    notes: str = field(default="")
    rows: Rows | None = None
    leaves: Leaves | None = None
    pools: str | None = None

    def __post_init__(self) -> None:
        names = [f.name for f in self.fields]
        if len(set(names)) != len(names):
            raise DefinitionError(f"table {self.name}: a column name stands twice")
        for group in (self.key, *(r.columns for r in self.references)):
            if unknown := set(group) - set(names):
                raise DefinitionError(f"table {self.name}: key names unknown columns {sorted(unknown)}")
        if not self.key:
            raise DefinitionError(f"table {self.name}: every table needs a key")
        if nullable := [k for k in self.key if self.column(k).nullable]:
            raise DefinitionError(f"table {self.name}: key columns may not be null: {nullable}")
        if (self.layer is Layer.DELIVERY) != (self.file_name is not None):
            raise DefinitionError(f"table {self.name}: a delivery table, and only that, names its CSV file")
        self._refuse_rows(set(names))

    def _refuse_rows(self, names: set[str]) -> None:
        sent, rows = self.layer is Layer.DELIVERY, self.rows
        if rows is None and sent:
            raise DefinitionError(f"table {self.name}: say whose its rows are, and what consent they need")
        if rows and rows.fault:
            raise DefinitionError(f"table {self.name}: {rows.fault}")
        if rows and (unknown := {n for n in (rows.by, rows.day) if n} - names):
            raise DefinitionError(f"table {self.name}: its rows lead by or are from unknown columns {sorted(unknown)}")
        if sent and self.file_columns and (rows is None or rows.by != TRIAL):
            raise DefinitionError(f"table {self.name}: only rows of trials name files, which go where their trial goes")
        if self.pools and sent:
            raise DefinitionError(f"table {self.name}: what is sent is pooled by another table")
        if why := "what is sent never leaves as it came" if sent and self.leaves else why_not(self):
            raise DefinitionError(f"table {self.name}: {why}")
        of_mass = [q for q in self.quantities_that_leave if (unit := suffix_unit(q)) is None or grows_with_mass(unit)]
        if of_mass:
            raise DefinitionError(f"table {self.name}: {of_mass} grow with body mass, or tell no unit, and stay")

    @property
    def file_columns(self) -> tuple[str, ...]:
        """Columns that hold paths of payload files."""
        return tuple(f.name for f in self.fields if f.names_file)

    @property
    def quantities_that_leave(self) -> tuple[str, ...]:
        """Of a table whose rows tell their quantity, those of which rows are in a release."""
        return tuple(self.leaves.quantities.split()) if self.leaves else ()

    @property
    def scopes_of_words(self) -> frozenset[str]:
        """Scopes that a row can need for a word that stands in it."""
        return frozenset(scope for f in self.fields for code in f.codes for scope in code.scopes)

    @property
    def column_names(self) -> tuple[str, ...]:
        """Column names in file order."""
        return tuple(f.name for f in self.fields)

    def column(self, name: str) -> Field:
        """The field called ``name``; KeyError if there is none."""
        for candidate in self.fields:
            if candidate.name == name:
                return candidate
        raise KeyError(f"table {self.name} has no column {name}")
