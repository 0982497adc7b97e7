"""Brings a depot that an older manystrides made into the form this one needs.

Books of an older form are migrated in one transaction. A depot from before there were books is read whole and verified,
written into new books in one transaction, and only then are the older files moved to ``before_upgrade/``. A kill at any
moment harms nothing: before the transaction ends there are no books, and afterwards only files are left to be moved.
"""

from __future__ import annotations

from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.depot import before_books, keys, reached
from pipelines.depot import register as registers
from pipelines.depot.before_books import Before
from pipelines.depot.guarding import forget_books_file, made_from_books, note_books_file
from pipelines.depot.ledger import Ledger
from pipelines.depot.lock import held
from pipelines.depot.storage import Depot
from pipelines.depot.witnesses import prove_books_file, trusted
from pipelines.errors import Unusable

if TYPE_CHECKING:
    import sqlalchemy as sa

    from pipelines.depot.books.book import Books

ASIDE = "before_upgrade"
_TAKEN_OVER = "upgraded"


@dataclass(frozen=True)
class Upgraded:
    """What was done. taken_over: deliveries that came out of files; forms: of the books, before and now."""

    depot: Depot
    taken_over: int | None
    forms: tuple[int, int]
    moved: int

    def text(self) -> str:
        """The outcome, for people."""
        before, now = self.forms
        lines = []
        if self.taken_over is not None:
            lines.append(f"{self.taken_over} deliveries and their ledger are in the books now, {self.depot.root}.")
        elif before != now:
            lines.append(f"The books have form {now} now (before: {before}).")
        if self.moved:
            lines.append(f"The older files lie in {self.depot.root / ASIDE}; delete them when all is well.")
        if not lines:
            return f"Nothing to do: the books have form {now}, as this manystrides needs."
        return "\n".join([*lines, "The next `manystrides run` judges again what was made by older code."])


def upgrade(depot: Depot, actor: str) -> Upgraded:
    """Do it. Raises Unusable if there is no depot, or if anything cannot be understood: nothing is changed then."""
    from pipelines.depot.books.opening import form_of, make_engine, refuse_form
    from pipelines.depot.books.tables import FORM

    is_old = before_books.is_there(depot.root)
    if not (is_old or depot.exists):
        raise Unusable("There is no depot here.", "a depot.", "Name it with --depot.", file=depot.root)
    with held(depot.lock_file, actor):
        prove_books_file(depot)
        before = _read(depot) if is_old and not depot.exists else None
        forget_books_file(depot)
        engine = make_engine(depot.root, depot.books_url, lost_ok=is_old)
        try:
            form, taken_over = form_of(engine, depot.root), None
            if form is None:
                taken_over = _take_over(depot, before or _read(depot), engine, actor)
            elif form > FORM:
                refuse_form(form, depot.root)
            elif form < FORM:
                migrate(engine)
        finally:
            engine.dispose()
        with depot.opened(to_write=True):
            moved = _move_aside(depot)
            if form == FORM and not (is_old and _just_taken_over(depot)):
                trusted(depot)
            if form != FORM or not depot.register.exists():
                note_checksums(depot)
                if form != FORM and not (depot.root / reached.NAME).exists():  # it is younger than the older forms
                    reached.note(depot.root, depot.books.ledger.head())
                registers.write(depot.register, made_from_books(depot))
        note_books_file(depot)
    return Upgraded(depot, taken_over, (FORM if form is None else form, FORM), moved)


def migrate(engine: sa.Engine, form: str = "head") -> None:
    """Bring the books to a form, in one transaction."""
    from alembic import command
    from alembic.config import Config

    from pipelines.depot.books.book import WRITES, told_plainly

    settings = Config()
    settings.set_main_option("script_location", str(Path(__file__).with_name("migrations")).replace("%", "%%"))
    with told_plainly(engine), engine.connect().execution_options(**{WRITES: True}) as connection, connection.begin():
        settings.attributes["connection"] = connection
        command.upgrade(settings, form)


def _read(depot: Depot) -> Before:
    """All that the files say, before anything is made."""
    _clear_work(depot)
    before = before_books.read(depot.root)
    folders = {result.record.delivery_id for result in before.results}
    if odd := sorted(set(depot.delivery_ids()) - folders):
        raise Unusable(
            f"The results of {', '.join(odd[:5])} have no {before_books.RECORD}.",
            "a record of each delivery.",
            "Put it back from your backup; nothing was changed.",
            file=depot.store.shown(keys.DELIVERIES),
        )
    return before


def _take_over(depot: Depot, before: Before, engine: sa.Engine, actor: str) -> int:
    from pipelines.depot.books.book import Books
    from pipelines.depot.books.opening import make_tables, mark

    with closing(Books(engine)) as books, books.transaction():
        word = make_tables(books.writer(), before.key)
        _write(books, before, actor)
        mark(depot.root, word)  # before it counts: of a kill in between nothing is left but a word that is written anew
    return len(before.results)


def _just_taken_over(depot: Depot) -> bool:
    """Whether nothing was written since older files were taken over: a kill then left them, and no register yet."""
    *_, last = depot.books.ledger.entries()
    return str(last.what) == _TAKEN_OVER


def _clear_work(depot: Depot) -> None:
    """What a killed run of the older code left: a result that was being replaced is put back, the rest goes."""
    for name in depot.store.names(keys.WORK):
        rest, (delivery_id, replaced, _) = f"{keys.WORK}/{name}", name.partition(".replaced.")
        if replaced and not depot.store.is_there(keys.result(delivery_id)):
            depot.store.move(rest, keys.result(delivery_id))
        else:
            depot.store.remove(rest)


def _write(books: Books, before: Before, actor: str) -> None:
    for entry in before.ledger:
        books.ledger.append(entry)
    for result in before.results:
        books.deliveries.put(result)
    for (site, name), known in before.arrivals.items():
        books.arrivals.put(site, name, known)
    for withdrawal in before.withdrawals:
        books.withdrawals.put(withdrawal)
    for override in before.overrides:
        books.decisions.put(override)
    for release in before.releases:
        books.releases.put(release)
    if before.built is not None:
        books.builds.put(*before.built)
    books.gates.know_anew(runner for result in before.results if result.gate for runner in result.gate.runners)
    ledger = Ledger(books, actor)
    if before.torn:
        ledger.write("repaired", "ledger", "The last line was torn.", removed=before.torn)
    _tell_untold(books, ledger, before)
    ledger.write(_TAKEN_OVER, "depot", "The books were made from the files of an older manystrides.")


def _tell_untold(books: Books, ledger: Ledger, before: Before) -> None:
    """Lines for what counts and the ledger does not know, as after a kill of the older code."""
    told = {entry.details.get("result") for entry in before.ledger}
    for result in before.results:
        record = result.record
        if record.result not in told:
            details = {"arrival": record.arrival, "fingerprint": record.fingerprint, "result": record.result}
            ledger.write(record.status, record.delivery_id, "Noted after an interruption.", **details)
    for withdrawal in before.withdrawals:
        about = f"tombstone-{withdrawal.tombstone}"
        if not books.ledger.knows(about):
            ledger.write("withdrawal", about, "A runner withdrew.", scope=withdrawal.scope)
    for override in before.overrides:
        for what, about, decision in override.lines():
            if not books.ledger.knows(about):
                details = {"check": override.check_name, "site": override.site, "by": decision.by}
                ledger.write(what, about, decision.why, **details)


def _move_aside(depot: Depot) -> int:
    """Move what is left of the older files away; how many files or folders that were."""
    moved = 0
    for path in before_books.old_files(depot.root):
        depot.store.shut(ASIDE)  # they name withheld runners and files
        key = path.relative_to(depot.root).as_posix()
        depot.store.move(key, f"{ASIDE}/{key}")
        moved += 1
    return moved


def note_checksums(depot: Depot) -> int:
    """Note checksums of what was published before checksums were kept; how many places. The depot must be open."""
    books, known = depot.books, depot.books.files.all()
    names = [keys.result(name) for name in sorted(books.deliveries.ids())]
    names += [keys.release(entry.name) for entry in books.releases.all()]
    new = [place for place in names if place not in known and depot.store.is_there(place)]
    with books.transaction():
        for place in new:
            books.files.put(place, depot.store.hashes(place))
    return len(new)
