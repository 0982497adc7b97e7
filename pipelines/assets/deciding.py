"""What a person decides by command, and the graph then carries out: a trial accepted in spite of a check, a release.

What may be decided is in ``pipelines.deciding``, what a release holds in ``pipelines.release``; here a decision is
kept first, and then what the books say is due is done by the graph that every run carries out.
"""

from __future__ import annotations

from pathlib import Path

from pipelines.assets.run import at_work, carry_out
from pipelines.deciding.accepting import Asked, Outcome, decide, in_plain_form, outcome
from pipelines.depot.keys import release as release_key
from pipelines.release.make import Released, note_unlisted, refuse_what_a_run_must_do
from pipelines.taking_in.building import is_built
from pipelines.taking_in.due import any_follow_up


def accept(study_path: Path, depot_root: Path | str, asked: Asked) -> Outcome:
    """Accept a trial in spite of a check, or take that back, and do what follows from it.

    Raises Unusable if it cannot be: nothing to set aside, a check nobody can set aside, no reason, no name.
    """
    asked = in_plain_form(asked)
    with at_work(study_path, depot_root, asked.by) as bench:
        decided = decide(bench.desk, asked)
        if any_follow_up(bench.desk) or not is_built(bench.desk):
            carry_out(bench)
        return outcome(bench.desk, decided, bench.summary)


def release(
    study_path: Path, depot_root: Path | str, why: str, actor: str | None = None, *, openly: bool = False
) -> Released:
    """Freeze what the depot pools today, after doing what consent or a decision asks for.

    openly: only of runners who agreed to open sharing.
    Raises Unusable if there is nothing to freeze, no reason is given, or other code judged some deliveries.
    """
    with at_work(study_path, depot_root, actor) as bench:
        books = bench.desk.books
        refuse_what_a_run_must_do(bench.desk, why)
        note_unlisted(bench.desk)
        before = {entry.number for entry in books.releases.all()}
        carry_out(bench, freeze={"why": why, "openly": openly})
        entry = books.releases.all()[-1]
        new, folder = entry.number not in before, bench.desk.depot.store.local(release_key(entry.name))
        return Released(entry, folder, new, bench.summary.finished)
