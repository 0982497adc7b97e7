"""Searches everything live in a depot for words, in the bytes and, where a format packs them, in the values.

Not live, and so not searched: bytes kept apart (``closed/``) unless they are asked for, the books, from which nothing
is shown, the inbox, and releases that are superseded.
"""

from __future__ import annotations

import csv
import email
import email.policy
import io
import re
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from pipelines.depot import keys
from pipelines.depot.storage import Depot
from pipelines.depot.store import Store
from pipelines.identity.c3d_texts import texts_of_c3d
from pipelines.identity.edf_texts import texts_of_edf
from schemas.privacy import RUNNER, WAYS

#: Five given bytes in a row are met in some of a hundred depots of 10 GB of any bytes, six in none (own reckoning:
#: 10^10 / 256^5 is 0.009); two letters in any text.
_LEAST_BYTES, _LEAST_IN_TEXTS = 6, 3
_EDGES = (rb"(?<![0-9A-Za-z])", rb"(?![0-9A-Za-z])")
_FIELDS = re.compile(rb"(?:^|(?<=[\0\s\",;]))[!-~]+(?=[\0\s\",;]|$)")


def live_keys(depot: Depot, *, closed: bool = False) -> list[str]:
    """The keys of all that is live. closed: and of bytes kept apart."""
    with depot.opened() as books:
        old = [keys.release(entry.name) for entry in books.releases.all() if entry.superseded_utc]
    apart = () if closed else (keys.CLOSED,)
    shut = tuple(f"{folder}/" for folder in (*apart, depot.inbox.name, *old))
    found = (key for key in depot.store.below() if not key.startswith((*shut, "books.", "depot.lock")))
    return [key for key in found if depot.store.is_object(key)]


def files_with(
    depot: Depot, words: Iterable[str], patterns: Iterable[bytes] = (), *, closed: bool = False
) -> tuple[int, list[Path]]:
    """How many files are searched, and those with one of ``words`` (whole, not within another) or ``patterns``.

    What is met by chance in any bytes, or as a number, is no rest of a runner: a short word is looked for where it can
    be meant (``Sought``). closed: whether bytes kept apart are searched, too.
    """
    sought = [Sought(word) for word in words if word]
    raw = [bytes(pattern) for pattern in patterns]
    live = live_keys(depot, closed=closed)
    found = []
    for key in live:
        parts = _parts(depot.store, key, sought)
        if any(any(one.is_in(part) for one in sought) or any(p in part.content for p in raw) for part in parts):
            found.append(Path(depot.store.shown(key)))
    return len(live), found


class In(Enum):
    """What a part of a file is made of."""

    BYTES = "any bytes"
    TEXT = "texts"
    RUNNERS = "codes of runners, each in a line of its own"
    CODES = "codes of sessions and trials, the same"


@dataclass(frozen=True)
class Part:
    """A part of a file."""

    made_of: In
    content: bytes


#: What stands before and behind a word that is only looked for as a code.
_AS_CODES = {In.RUNNERS: (rb"(?m)^", rb"$"), In.CODES: (rb"(?m)^", rb"[^0-9A-Za-z\n]")}


@dataclass(frozen=True)
class Sought:
    """A word that is searched for: everywhere; from ``_LEAST_BYTES`` down only in texts; very short ones only as codes.

    A number alone counts as very short, since tables and pages are full of them.
    """

    word: str

    @property
    def only_as_code(self) -> bool:
        """Whether it is looked for only as a runner's whole code, and at the beginning of one of a session or trial."""
        return len(self.word.encode()) < _LEAST_IN_TEXTS or self.word.isdigit()

    def is_in(self, part: Part) -> bool:
        """Whether it stands there as a whole."""
        word = self.word.encode()
        if word not in part.content:  # first, since words may be thousands
            return False
        if self.only_as_code:
            before, after = _AS_CODES.get(part.made_of, (b"", b""))
        else:
            before, after = _EDGES
            if part.made_of is In.BYTES and len(word) < _LEAST_BYTES:
                return False
        if not after:
            return False
        return re.search(before + re.escape(word) + after, part.content) is not None


def _parts(store: Store, key: str, sought: Sequence[Sought]) -> Iterator[Part]:
    """An object's name, its bytes, and the values inside it; its texts only where the bytes hold a word at all."""
    yield Part(In.TEXT, key.encode())
    content = store.read(key)
    yield Part(In.BYTES, content)
    if key.endswith(".parquet"):
        yield from _values_of_parquet(store.local(key))
    elif key.endswith(".duckdb"):
        yield from _values_of_warehouse(store.local(key))
    elif key.startswith(f"{keys.OUTBOX}/") and key.endswith((".zip", ".eml")):
        for text in _enclosed(content, key):
            yield from (Part(In.BYTES, text), *_texts(text))
    elif any(one.word.encode() in content for one in sought):
        yield from _texts(content)


def _enclosed(content: bytes, key: str) -> Iterator[bytes]:
    """What is packed into a mail or a zip that the depot made itself."""
    if key.endswith(".eml"):
        mail = email.message_from_bytes(content, policy=email.policy.SMTP)
        yield str(mail["subject"]).encode()
        for part in mail.walk():
            packed = part.get_payload(decode=True)
            if isinstance(packed, bytes):
                yield from _enclosed(packed, ".zip") if part.get_content_type() == "application/zip" else (packed,)
        return
    with zipfile.ZipFile(io.BytesIO(content)) as opened:
        for member in opened.infolist():
            yield member.filename.encode()
            yield opened.read(member)


def _texts(content: bytes) -> Iterator[Part]:
    """Texts of a recording, or of a file that is text; of others what stands between spaces and nulls."""
    if content[1:2] == b"P":  # as a C3D file begins: where its parameters are, and 80
        yield Part(In.TEXT, "\n".join(one.text for one in texts_of_c3d(content)).encode())
        return
    if content[:8].strip() == b"0":  # the version of every EDF file
        yield Part(In.TEXT, "\n".join(one.text for one in texts_of_edf(content)).encode())
        return
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        runs = (run for run in _FIELDS.findall(content) if len(run) >= _LEAST_IN_TEXTS)
        yield Part(In.TEXT, b"\n".join(runs))
        return
    yield Part(In.TEXT, content)
    rows = csv.reader(io.StringIO(text, newline=""))
    try:
        header = [cell.strip() for cell in next(rows, [])]
        ways = [(place, name) for place, name in enumerate(header) if name in WAYS]
        cells = [row for row in rows if ways]
        for place, name in ways:
            yield _column(name, (row[place].strip() for row in cells if place < len(row)))
    except csv.Error:  # a table as it came; its text is searched as a whole
        return


def _values_of_parquet(path: Path) -> Iterator[Part]:
    import pyarrow.parquet as parquet

    table = parquet.read_table(path)
    for name, column in zip(table.column_names, table.columns, strict=True):
        yield _column(name, column.to_pylist())


def _values_of_warehouse(path: Path) -> Iterator[Part]:
    import duckdb

    with duckdb.connect(str(path), read_only=True) as connection:
        tables = connection.execute("SELECT schema_name, table_name FROM duckdb_tables()").fetchall()
        for schema, table in tables:
            asked = connection.execute(f'SELECT * FROM "{schema}"."{table}"')
            names = [told[0] for told in asked.description or ()]
            for name, values in zip(names, zip(*asked.fetchall(), strict=True), strict=False):
                yield _column(name, values)


def _column(name: str, values: Iterable[object]) -> Part:
    made_of = In.RUNNERS if name == RUNNER else In.CODES if name in WAYS else In.TEXT
    return Part(made_of, "\n".join(str(value) for value in values if value is not None).encode())
