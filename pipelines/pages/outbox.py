"""The outbox: for each laboratory its receipts, its letter, its parcel and a draft of a mail. Nothing is sent.

What lies there names runners by their codes, so that only the depot's owner may look into it. Each laboratory's part is
made of facts that were narrowed to it, and made again only if it would say something else: the hash of all that it says
stands in the parcel, which is written last.
"""

from __future__ import annotations

import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.pages.digest import digest_of
from pipelines.pages.drafts import draft
from pipelines.pages.facts import Facts, read_facts
from pipelines.pages.letter import wrapped
from pipelines.pages.names import file_names
from pipelines.pages.parcel import LETTER, Parcel, as_zip, facts_of
from pipelines.pages.receipt import receipt
from pipelines.pages.view import delivery_rows
from pipelines.study.silence import Silent
from pipelines.versions import shown_version
from schemas.moments import moment_of

if TYPE_CHECKING:
    from pipelines.depot.store import Store
    from pipelines.study.file import LoadedStudy

ABOUT, DRAFT, RECEIPTS = "READ_ME.txt", "letter.eml", "receipts"
_OWNER = 0o600
_ABOUT = """\
For the depot's owner: what each site may be told. Nothing here was sent.

A folder for each site holds letter.txt, the same letter as a draft of a
mail (letter.eml), the parcel that belongs to it (a zip) and a receipt for each
delivery. All of it is written again by the next run if it would say something
else; what you change here is lost then. Runners stand in it by their codes.
"""


@dataclass(frozen=True)
class Addresses:
    """Of mails. to: site -> address. sender: of the data manager, empty for none."""

    to: Mapping[str, str] = field(default_factory=dict)
    sender: str = ""


@dataclass(frozen=True)
class Asked:
    """What an outbox is made from, as plain values that can be sent to another process.

    packed: delivery -> what its receipt tells of how it was packed. silent: sites from which nothing has come for
    longer than planned. anew: make all, whatever is there.
    """

    store: Store
    warehouse: Path
    study: LoadedStudy
    addresses: Addresses = Addresses()
    packed: Mapping[str, str] = field(default_factory=dict)
    silent: tuple[Silent, ...] = ()
    anew: bool = False

    def facts(self) -> Facts:
        """What the warehouse and the day tell."""
        return replace(read_facts(self.warehouse, self.study.study), silent=self.silent)


@dataclass(frozen=True)
class Made:
    """The part of one laboratory. keys: of all its files. files: key and content, last the parcel; None if the part
    that is there says the same.
    """

    site: str
    keys: tuple[str, ...]
    files: tuple[tuple[str, bytes], ...] | None


def make_outbox(asked: Asked) -> list[Made]:
    """The parts of all laboratories, with facts of its own: for a process beside. Nothing is written."""
    return list(_made(asked, asked.facts()))


def write_outbox(asked: Asked, facts: Facts | None = None, made: Iterable[Made] | None = None) -> list[str]:
    """Bring the outbox up to date and remove what is no longer due; returns the sites whose part was written.

    made: of ``make_outbox``, if that was done before; facts: of the warehouse, else, if they were read already.
    """
    store, anew = asked.store, asked.anew
    store.shut("")
    due = {ABOUT: _ABOUT.encode()}
    if anew or not store.is_object(ABOUT) or store.read(ABOUT) != due[ABOUT]:
        store.put(ABOUT, due[ABOUT], mode=_OWNER)
    keys, written = {ABOUT}, []
    if made is None:
        made = _made(asked, asked.facts() if facts is None else facts)
    for part in made:
        keys.update(part.keys)
        if part.files is not None:
            _write(store, part.files, anew=anew)
            written.append(part.site)
    for stale in (key for key in store.below() if key not in keys):
        store.remove(stale)
    return written


def _made(asked: Asked, facts: Facts) -> Iterator[Made]:
    store, anew = asked.store, asked.anew
    for site in (s.site for s in facts.sites if any(d.site == s.site for d in facts.deliveries)):
        part = _Part(facts_of(facts, site), asked.study, site, asked.addresses, asked.packed)
        files = None
        if anew or not all(map(store.is_object, part.keys)) or _made_from(store, part.parcel_key) != part.word:
            files = tuple(part.files(asked.warehouse, {} if anew else _files_in(store, part.parcel_key)))
        yield Made(site, tuple(part.keys), files)


def _write(store: Store, files: Sequence[tuple[str, bytes]], *, anew: bool) -> None:
    """Write the files of a part that say something else; the parcel when all others are on the disk."""
    *others, (last, parcel) = files
    put = []
    for key, content in others:
        if anew or not store.is_object(key) or store.read(key) != content:
            store.put(key, content, mode=_OWNER, sync=False)
            put.append(key)
    store.sync(put)  # all at once: to wait for the disk at each takes longer than to make it
    store.put(last, parcel, mode=_OWNER)


def _files_in(store: Store, key: str) -> dict[str, bytes]:
    """Name and bytes of what is in a parcel; nothing of one that cannot be read."""
    try:
        with store.open(key) as stream, zipfile.ZipFile(stream) as parcel:
            return {name: parcel.read(name) for name in parcel.namelist()}
    except (OSError, zipfile.BadZipFile, zlib.error, EOFError):
        return {}


class _Part:
    """What one laboratory is told, and the hash of all of it."""

    def __init__(
        self, facts: Facts, study: LoadedStudy, site: str, addresses: Addresses, packed: Mapping[str, str]
    ) -> None:
        self._pages = Parcel(facts, study, site)
        self._to, self._sender = addresses.to.get(site, ""), addresses.sender
        title, invented = study.study.title, study.study.invented
        rows = delivery_rows(facts)
        names = file_names((RECEIPTS, row.delivery.delivery_id) for row in rows)
        self._receipts = {
            names[RECEIPTS, row.delivery.delivery_id].removesuffix(".html") + ".txt": receipt(
                facts, row, title, invented=invented, packed=packed.get(row.delivery.delivery_id)
            )
            for row in rows
        }
        self._when = moment_of(facts.newest_utc) or datetime(1980, 1, 1, tzinfo=UTC)
        told = self._receipts, self._to, self._sender, site, self._when
        self.word = digest_of(shown_version(), told, self._pages.made_of())
        self.folder = file_names([("site", site)])["site", site].removesuffix(".html")
        self.parcel_key = f"{self.folder}/{self.folder}-returns.zip"

    @property
    def keys(self) -> list[str]:
        """All files of this part."""
        beside = [LETTER, DRAFT, *(f"{RECEIPTS}/{name}" for name in self._receipts)]
        return [*(f"{self.folder}/{name}" for name in beside), self.parcel_key]

    def files(self, warehouse: Path, before: Mapping[str, bytes]) -> Iterator[tuple[str, bytes]]:
        """Key and content of each; last the parcel, by whose word the part is known to be whole.

        before: files of the parcel of before, by name.
        """
        parcel = as_zip(self._pages.files(warehouse, before), comment=self.word)
        for name, text in self._receipts.items():
            yield f"{self.folder}/{RECEIPTS}/{name}", text.encode("utf-8", "replace")
        yield f"{self.folder}/{LETTER}", wrapped(self._pages.letter).encode("utf-8", "replace")
        name = self.parcel_key.rpartition("/")[2]
        mail = draft(self._pages.letter, parcel, name, self.word, self._when, self._to, self._sender)
        yield f"{self.folder}/{DRAFT}", mail
        yield self.parcel_key, parcel


def _made_from(store: Store, key: str) -> str | None:
    """The word that stands in a parcel; None if it cannot be read."""
    try:
        with store.open(key) as stream, zipfile.ZipFile(stream) as parcel:
            return parcel.comment.decode("ascii", "replace")
    except (OSError, zipfile.BadZipFile):
        return None
