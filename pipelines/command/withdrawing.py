"""The commands about withdrawals: what would go is shown and asked first. How it is done: ``pipelines.deciding``."""

from __future__ import annotations

from typing import Annotated

import typer

from pipelines.command.options import DEFAULT_DEPOT, DEFAULT_STUDY, DepotPath, Person, StudyPath
from pipelines.errors import Unusable

_RUNNER = typer.Argument(help="The runner's participant_id.")
_SCOPE = typer.Option("--scope", help="motion, force, muscle, metabolic, pooling or all.")
_WITH_CHANGES = typer.Option(
    "--with-changes", help="Do it although settings or checks have changed, which may move trials of others as well."
)
_WHY = typer.Option("--why", help="Why, for the ledger; do not name the runner.")


def withdraw(
    runner: Annotated[str, _RUNNER],
    scope: Annotated[str, _SCOPE],
    why: Annotated[str, _WHY],
    by: Person,
    study: StudyPath = DEFAULT_STUDY,
    depot: DepotPath = DEFAULT_DEPOT,
    yes: Annotated[
        bool, typer.Option("--yes", help="Do it without asking; what would go is shown all the same.")
    ] = False,
    grace_days: Annotated[
        int, typer.Option("--grace-days", help="Withhold at once, remove files only after so many days.")
    ] = 0,
    not_yet_delivered: Annotated[
        bool, typer.Option("--not-yet-delivered", help="The runner's data are still to come: withhold them then.")
    ] = False,
    take_back: Annotated[
        bool, typer.Option("--take-back", help="End a withdrawal within its days of grace instead.")
    ] = False,
    with_changes: Annotated[bool, _WITH_CHANGES] = False,
) -> None:
    """Take a runner who withdrew, or one kind of data of the runner, out of everything live. Exit code 1 if it stays.

    What goes is shown first. Killed half-way, whichever command comes next finishes it.

    Example: manystrides withdraw FS-07 --scope all --why "Letter of 3 May" --as "Ann Lee" --study study.yaml
    """
    from pipelines.assets import deciding
    from pipelines.deciding import withdrawal
    from pipelines.deciding.preview import preview

    asked = withdrawal.Asked(runner, scope, why, by, grace_days, not_yet_delivered, with_changes)
    if take_back:
        ended = deciding.take_back(study, depot, asked)
        typer.echo(ended.text())
        raise typer.Exit(ended.exit_code)
    asked = withdrawal.in_plain_form(asked)
    shown = preview(study, depot, runner, scope)
    typer.echo(shown.text())
    if not shown.known and not not_yet_delivered:
        raise Unusable(
            "The depot does not know this runner; nothing was done.",
            "the participant_id of a runner of a delivery that was taken in.",
            "Compare it with participants.csv. If data of the runner are still to come, add --not-yet-delivered.",
        )
    if not yes:
        _ask("Take this out for good?")
    done = deciding.withdraw(study, depot, asked)
    typer.echo(done.text())
    raise typer.Exit(done.exit_code)


def renew(
    runner: Annotated[str, _RUNNER],
    scope: Annotated[str, _SCOPE],
    form_version: Annotated[str, typer.Option("--form-version", help="Version of the form that was signed anew.")],
    from_day: Annotated[int, typer.Option("--from-day", help="Study day on which it was signed.")],
    why: Annotated[str, _WHY],
    by: Person,
    study: StudyPath = DEFAULT_STUDY,
    depot: DepotPath = DEFAULT_DEPOT,
    yes: Annotated[
        bool, typer.Option("--yes", help="Do it without asking; what would count is shown all the same.")
    ] = False,
    with_changes: Annotated[bool, _WITH_CHANGES] = False,
) -> None:
    """Let consent that a runner gave anew after a withdrawal count from its day on. What was taken out stays out.

    What would count again is shown first. A wrong day is corrected by the same command with a later one.

    Example: manystrides renew FS-07 --scope all --form-version 3 --from-day 90 --why "New form" --as "Ann Lee"
    """
    from pipelines.assets.deciding import renew as give_anew
    from pipelines.deciding.preview_of_renewal import preview_of_renewal
    from pipelines.deciding.withdrawal import Renewed, refuse_renewal

    asked = Renewed(runner, scope, form_version, from_day, why, by, with_changes)
    refuse_renewal(asked)
    typer.echo(preview_of_renewal(study, depot, runner, scope, from_day).text())
    if not yes:
        _ask("Let this count?")
    done = give_anew(study, depot, asked)
    typer.echo(done.text())
    raise typer.Exit(done.exit_code)


def _ask(question: str) -> None:
    """Go on only if a person says yes. Raises Unusable where nobody can be asked."""
    import sys

    if not sys.stdin.isatty():
        raise Unusable(
            "Nobody can be asked here, and --yes was not given; nothing was done.",
            "a yes.",
            "Add --yes if this is right.",
        )
    if not typer.confirm(question):
        raise Unusable("It was not confirmed; nothing was done.", "a yes.", "Ask again when you are sure.")
