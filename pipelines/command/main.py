"""The ``manystrides`` command: only arguments, printing and exit codes; the work is done elsewhere.

The commands of a laboratory are in ``pipelines.command.lab``. Heavy libraries are imported inside the commands, so that
``--help`` answers at once. Exit codes: 0 done, 1 the answer is no (a file is not readable, a ledger is not whole, a
delivery must be mended), 2 something given cannot be used, 3 a fault of manystrides; what they mean command by command
is in ``pipelines.command.exit_codes``.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from pipelines import telemetry
from pipelines.command.as_json import echo_json, end_with
from pipelines.command.beginning import init
from pipelines.command.exit_codes import INTERRUPTED, INTERRUPTED_TOLD, LABORATORIES_ASKED
from pipelines.command.following_up import followed_up
from pipelines.command.kits import kit
from pipelines.command.lab import check, look, pack, profile
from pipelines.command.ledger import ledger_app
from pipelines.command.listing import Commands
from pipelines.command.logged import logged
from pipelines.command.options import (
    DEFAULT_DEPOT,
    DEFAULT_INBOX,
    DEFAULT_STUDY,
    Actor,
    AsJson,
    DepotPath,
    InboxPath,
    Person,
    StudyPath,
)
from pipelines.command.plan import plan_app
from pipelines.command.power import power
from pipelines.command.report import report
from pipelines.command.sending import send
from pipelines.command.texts import texts_app
from pipelines.command.wholeness import backup, restore, verify
from pipelines.command.withdrawing import renew, withdraw
from pipelines.command.withheld import withheld
from pipelines.errors import Unusable, disk_full, is_disk_full

telemetry.switch_off()

app = typer.Typer(
    cls=Commands,
    help="Pools running trials from many sites: checks every trial, computes the same outcomes, keeps a warehouse.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.add_typer(ledger_app, name="ledger")
app.add_typer(plan_app, name="plan")
app.add_typer(texts_app, name="texts")


def _show_version(wanted: bool) -> None:
    if wanted:
        from pipelines.versions import code_version

        typer.echo(f"manystrides {code_version()}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and end.")
    ] = False,
    books: Annotated[
        str | None,
        typer.Option(
            "--books",
            envvar="MANYSTRIDES_BOOKS",
            help="URL of a PostgreSQL database with the depot's books, if they are not in the depot's folder.",
        ),
    ] = None,
    register: Annotated[
        Path | None,
        typer.Option(
            "--register",
            envvar="MANYSTRIDES_REGISTER",
            help="The register of withdrawals, if it is not beside the depot's folder; better on another disk.",
        ),
    ] = None,
) -> None:
    if books:
        os.environ["MANYSTRIDES_BOOKS"] = books  # whatever this command starts keeps the same books
    if register:
        os.environ["MANYSTRIDES_REGISTER"] = str(register)


@app.command()
@logged
def run(
    study: StudyPath = DEFAULT_STUDY,
    inbox: InboxPath = DEFAULT_INBOX,
    depot: DepotPath = DEFAULT_DEPOT,
    actor: Actor = None,
    plan: Annotated[
        bool, typer.Option("--plan", help="Only say what would be done, why, and which trials would stand otherwise.")
    ] = False,
    yes: Annotated[
        bool, typer.Option("--yes", help="Publish although many trials would come into the pool or go out of it.")
    ] = False,
    rebuild: Annotated[
        bool,
        typer.Option("--rebuild", help="Make warehouse and pages anew from all results, also if nothing is due."),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Take in new deliveries, check every trial, compute outcomes, build warehouse and pages.

    Example: manystrides run --study demo_site_uploads/study.yaml --inbox demo_site_uploads/inbox --depot depot
    """
    from pipelines.assets.run import plan as plan_run
    from pipelines.assets.run import run as run_once
    from pipelines.progress import shown
    from pipelines.taking_in.still_arriving import settle_seconds

    if plan:
        with shown() as progress:
            text = plan_run(study, inbox, depot, actor, progress)
        if as_json:
            echo_json({"plan": text.splitlines()})
        else:
            typer.echo(text)
        return
    with shown() as progress:
        summary = run_once(study, inbox, depot, actor, progress, yes=yes, rebuild=rebuild, settle_s=settle_seconds())
    code = summary.exit_code or (LABORATORIES_ASKED if summary.asks_laboratories else 0)
    typer.echo(json.dumps(summary.plain() | {"exit_code": code}, indent=1) if as_json else summary.text())
    raise typer.Exit(code)


for command in (init, check, pack, profile, look, power, report):
    app.command()(command)
for whole in (withdraw, renew, withheld, verify, followed_up):
    app.command()(logged(whole))
for copied in (backup, restore, send, kit):
    app.command()(copied)


@app.command()
def sql(
    question: Annotated[str, typer.Argument(help="A question in DuckDB's SQL.", metavar="SQL")],
    depot: DepotPath = DEFAULT_DEPOT,
    to: Annotated[
        Path | None,
        typer.Option("--to", help="Write the whole answer to this .csv or .parquet file instead."),
    ] = None,
    rows: Annotated[int, typer.Option("--rows", min=1, help="Show at most this many rows.")] = 50,
    as_json: Annotated[bool, typer.Option("--json", help="Print every row for scripts, as a JSON list.")] = False,
) -> None:
    """Ask the warehouse one question in SQL; nothing can be changed by it.

    Example: manystrides sql "SELECT * FROM completeness" --depot depot
    """
    from pipelines.depot.storage import Depot
    from pipelines.pool.query import ask, print_answer, write_answer

    place = Depot(depot)
    answer = ask(place.warehouse, question)
    if as_json and to is None:
        echo_json(answer.to_pylist())
    elif to is None:
        print_answer(answer, rows)
    else:
        write_answer(answer, to)
        typer.echo(f"{answer.num_rows} rows written to {to}")


@app.command()
def dev(
    study: StudyPath = DEFAULT_STUDY,
    inbox: InboxPath = DEFAULT_INBOX,
    depot: DepotPath = DEFAULT_DEPOT,
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port on this machine.")] = 3000,
) -> None:
    """Open the same pipeline in Dagster's web page, on this machine only. Ends with Ctrl-C.

    Example: manystrides dev --depot depot --port 3000
    """
    from pipelines.assets.serve import serve

    raise typer.Exit(serve(study, inbox, depot, port))


@app.command()
@logged
def accept(
    trial: Annotated[str, typer.Argument(help="The trial_id of a returned trial.")],
    check_name: Annotated[str, typer.Option("--check", help="The check to set aside, by name, as in docs/reference.")],
    why: Annotated[str, typer.Option("--why", help="Why, for the ledger and the tables; do not name the runner.")],
    by: Person,
    take_back: Annotated[bool, typer.Option("--take-back", help="End an earlier decision instead.")] = False,
    study: StudyPath = DEFAULT_STUDY,
    depot: DepotPath = DEFAULT_DEPOT,
) -> None:
    """Accept a trial in spite of one check, with a reason and a name. Exit code 1 if it still goes back for another.

    Example: manystrides accept FS-04-w5-corrie-cushioned-6 --check plates_read_zero_unloaded --why "Known" --as Ann
    """
    from pipelines.assets.deciding import accept as decide
    from pipelines.deciding.accepting import Asked

    done = decide(study, depot, Asked(trial, check_name, why, by, take_back))
    typer.echo(done.text())
    raise typer.Exit(done.exit_code)


@app.command()
@logged
def release(
    why: Annotated[str, typer.Option("--why", help="What the release is for, for the ledger and its README.")],
    by: Person,
    study: StudyPath = DEFAULT_STUDY,
    depot: DepotPath = DEFAULT_DEPOT,
    openly: Annotated[bool, typer.Option("--open", help="Only runners who agreed to open sharing.")] = False,
    consents: Annotated[
        str | None,
        typer.Option("--consents-looked-at", help="What you found in a consents.csv that could not be read."),
    ] = None,
) -> None:
    """Freeze the pooled data as a numbered release; consent is looked up again first. Does nothing if nothing changed.

    Example: manystrides release --why "First pooled analysis" --as "Ann Lee" --depot depot
    """
    from pipelines.assets.deciding import release as freeze

    typer.echo(freeze(study, depot, why, by, openly=openly, consents=consents).text())


@app.command()
def upgrade(depot: DepotPath = DEFAULT_DEPOT, actor: Actor = None) -> None:
    """Bring a depot that an older manystrides made into the form this one needs. Make a copy of it first.

    Running it again does nothing. Example: manystrides upgrade --depot depot
    """
    from pipelines.depot.ledger import whoami
    from pipelines.depot.storage import Depot
    from pipelines.depot.upgrade import upgrade as bring_up

    typer.echo(bring_up(Depot(depot), actor or whoami()).text())


#: Packages that come with the extra ``depot`` alone.
_OF_THE_DEPOT = (
    *("alembic", "dagster", "dagster_webserver", "duckdb", "filelock", "fsspec", "great_expectations", "openpyxl"),
    *("pyarrow", "sqlalchemy"),
)
_INSTALL_ALL = (
    "Package {} is not installed: this installation is a laboratory's, for check, pack, profile and look. What keeps a "
    'depot needs the extra: pip install "manystrides[depot]" (from the same file), or make setup.'
)


def main() -> None:
    """Run the command; what a person can correct is told in plain words on standard error, with exit code 2.

    With --json it is on standard output, too, in parts: a script never has to read the other stream.
    """
    from pipelines.command.interrupts import heard
    from pipelines.command.streams import guard

    guard()
    try:
        with heard():
            app()
    except Unusable as problem:
        end_with(2, str(problem), problem)
    except KeyboardInterrupt:
        end_with(INTERRUPTED, INTERRUPTED_TOLD)
    except SystemExit as end:
        if end.code == INTERRUPTED:  # typer makes this of an interruption, without a word
            end_with(INTERRUPTED, INTERRUPTED_TOLD)
        raise
    except OSError as problem:
        if is_disk_full(problem):
            end_with(2, str(disk_full(problem)), disk_full(problem))
        end_with(2, f"The system refused: {problem}. Nothing is half-written; correct this and run again.")
    except Exception as fault:
        if isinstance(fault, ModuleNotFoundError) and (fault.name or "").partition(".")[0] in _OF_THE_DEPOT:
            end_with(2, _INSTALL_ALL.format(fault.name))
        import traceback

        traceback.print_exc()
        end_with(3, f"This is a fault of manystrides, not of your input: {type(fault).__name__}.")
    finally:
        sys.stdout.flush()
