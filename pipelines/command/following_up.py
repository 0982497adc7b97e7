"""The command of the safety lead: cautions were looked at or followed up. How: ``pipelines.deciding.following_up``."""

from __future__ import annotations

from typing import Annotated

import typer

from pipelines.command.options import DEFAULT_DEPOT, DEFAULT_STUDY, DepotPath, Person, StudyPath
from pipelines.errors import Unusable


def followed_up(
    by: Person,
    runner: Annotated[
        str | None, typer.Argument(help="The participant_id, as on the safety lead's page.", show_default=False)
    ] = None,
    week: Annotated[int | None, typer.Option("--week", help="Only cautions about this week of the runner.")] = None,
    looked: Annotated[
        bool, typer.Option("--looked", help="Note instead that the whole list was looked through.")
    ] = False,
    take_back: Annotated[bool, typer.Option("--take-back", help="Take an earlier note back instead.")] = False,
    study: StudyPath = DEFAULT_STUDY,
    depot: DepotPath = DEFAULT_DEPOT,
) -> None:
    """Note that a runner's cautions were followed up, or that the list was looked through; for the safety lead.

    Name and moment are kept, and nothing of what was said or found: that belongs in the study's own records of health.

    Example: manystrides followed-up FS-04 --week 3 --as "Ann Lee" --study study.yaml --depot depot
    """
    from pipelines.assets.run import at_work
    from pipelines.deciding.following_up import Asked, note

    if looked == (runner is not None) or (looked and (week is not None or take_back)):
        raise Unusable(
            "Neither a runner nor --looked was given, or more than one of them.",
            "one runner, perhaps with --week or --take-back; or --looked alone.",
            "Write manystrides followed-up RUNNER --as NAME, or manystrides followed-up --looked --as NAME.",
        )
    with at_work(study, depot, by) as bench:
        asked = Asked(runner, week, by, take_back)
        count = note(bench.desk, asked)
        done = {"looked": "looked at", "followed_up": "followed up"}.get(asked.what, "not followed up any more")
        typer.echo(f"{count} {'caution is' if count == 1 else 'cautions are'} noted as {done}, by {by}.")
        typer.echo(f"The safety lead's page shows it: {bench.desk.depot.safety.local('index.html')}")
