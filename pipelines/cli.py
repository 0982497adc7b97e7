"""The ``manystrides`` command: only arguments, printing and exit codes; the work is done elsewhere.

Heavy libraries are imported inside the commands, so that ``--help`` answers at once. Exit codes: 0 done, 1 the answer
is no (a file is not readable, a ledger is not whole), 2 something given cannot be used, 3 a fault of manystrides.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipelines import telemetry
from pipelines.errors import Unusable

telemetry.switch_off()

app = typer.Typer(
    help="Pools running trials from many labs: checks every trial, computes the same outcomes, keeps a warehouse.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
ledger_app = typer.Typer(help="Prove who did what to which delivery.", no_args_is_help=True, rich_markup_mode=None)
app.add_typer(ledger_app, name="ledger")

_DEPOT = typer.Option("--depot", help="Folder that holds everything.")
_STUDY = typer.Option("--study", help="Study file.")
_INBOX = typer.Option("--inbox", help="Folder with one folder per laboratory.")
StudyPath = Annotated[Path, _STUDY]
InboxPath = Annotated[Path, _INBOX]
DepotPath = Annotated[str, _DEPOT]
DEFAULT_STUDY = Path("demo_site_uploads/study.yaml")
DEFAULT_INBOX = Path("demo_site_uploads/inbox")
DEFAULT_DEPOT = "depot"


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
) -> None:
    pass


@app.command()
def run(
    study: StudyPath = DEFAULT_STUDY,
    inbox: InboxPath = DEFAULT_INBOX,
    depot: DepotPath = DEFAULT_DEPOT,
    actor: Annotated[
        str | None,
        typer.Option("--as", help="Who does this, for the ledger; your user name if left out."),
    ] = None,
) -> None:
    """Take in new deliveries, check every trial, compute outcomes, build warehouse and pages.

    Example: manystrides run --study demo_site_uploads/study.yaml --inbox demo_site_uploads/inbox --depot depot
    """
    from pipelines.progress import shown
    from pipelines.run import run as run_once

    with shown() as progress:
        summary = run_once(study, inbox, depot, actor, progress)
    typer.echo(summary.text())
    raise typer.Exit(summary.exit_code)


@app.command()
def check(
    delivery: Annotated[Path, typer.Argument(help="A bag, a ZIP file of one, or a plain folder.")],
    study: StudyPath = DEFAULT_STUDY,
    site: Annotated[str | None, typer.Option(help="The laboratory; a plain folder needs it.")] = None,
    names: Annotated[
        Path | None, typer.Option("--names", help="Names of staff and runners to look for, one on a line.")
    ] = None,
    scrub: Annotated[
        Path | None, typer.Option("--scrub", help="Write a copy without identifying texts to this new folder.")
    ] = None,
    compare_readers: Annotated[
        bool, typer.Option("--compare-readers", help="Read every C3D file with two readers and compare.")
    ] = False,
    report: Annotated[
        Path | None, typer.Option("--report", help="Write pages with a fix sheet per faulty trial to this new folder.")
    ] = None,
) -> None:
    """Check a delivery at the laboratory as the depot will; nothing is kept. Exit code 1 if something must be mended.

    Example: manystrides check my_delivery --study demo_site_uploads/study.yaml --site brack --report what_to_mend
    """
    typer.echo(f"Checking {delivery} as the depot will, for the study in {study}. Nothing leaves this machine.")
    from pipelines.lab_check import check_at_the_lab
    from pipelines.progress import shown

    with shown(every=1) as progress:
        checked = check_at_the_lab(delivery, study, site, names, scrub, compare_readers, report, progress)
    typer.echo(checked.text)
    raise typer.Exit(checked.exit_code)


@app.command()
def pack(
    folder: Annotated[Path, typer.Argument(help="The folder with the tables and trial files; it is only read.")],
    to: Annotated[Path, typer.Option("--to", help="The delivery to make: a new folder, or a file ending in .zip.")],
    study: StudyPath = DEFAULT_STUDY,
    site: Annotated[str | None, typer.Option(help="The laboratory, as in the study file.")] = None,
    number: Annotated[str | None, typer.Option(help="Delivery number: 1 for the first, then one higher.")] = None,
    contact_role: Annotated[str | None, typer.Option(help="Role of whom to ask, never a name: site lead.")] = None,
    include: Annotated[bool, typer.Option("--include", help="Pack files, too, that no table names.")] = False,
) -> None:
    """Make a delivery out of a working folder; what is not given is asked for at a terminal. Exit code 2 if refused.

    Example: manystrides pack my_folder --to brack-003.zip --site brack --number 3 --contact-role "site lead"
    """
    import sys

    typer.echo(f"Packing {folder} for the study in {study}. The folder is only read.")
    from pipelines.packing.pack import pack as pack_folder
    from pipelines.progress import PlainProgress

    ask = typer.prompt if sys.stdin.isatty() else None
    packed = pack_folder(
        folder,
        to,
        study,
        site=site,
        number=number,
        contact_role=contact_role,
        include=include,
        ask=ask,
        progress=PlainProgress(),
    )
    typer.echo(packed.text)


@app.command()
def look(
    file: Annotated[Path, typer.Argument(help="A C3D file.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
    outcomes: Annotated[bool, typer.Option("--outcomes", help="Compute footfalls too; needs --profile.")] = False,
    profile: Annotated[Path | None, typer.Option(help="Site profile (YAML).")] = None,
    standing: Annotated[Path | None, typer.Option(help="Standing trial, for foot angles.")] = None,
    mass: Annotated[float | None, typer.Option(help="Body mass in kg.")] = None,
    speed: Annotated[float | None, typer.Option(help="Belt speed in m/s, for lengths on a treadmill.")] = None,
    study: Annotated[Path | None, typer.Option(help="Study file, for its processing settings.")] = None,
) -> None:
    """Tell what is inside one C3D file, without taking it in. Exit code 1 if it cannot be read.

    Example: manystrides look trial.c3d --outcomes --profile demo_site_uploads/sites/brack.yaml --mass 70
    """
    import json

    from pipelines.look import look as look_into
    from pipelines.look import render_look

    seen = look_into(
        file,
        profile=profile,
        standing=standing,
        mass_kg=mass,
        speed_m_per_s=speed,
        study=study,
        outcomes=outcomes,
    )
    if as_json:
        typer.echo(json.dumps(seen, ensure_ascii=False, allow_nan=False))
    else:
        typer.echo(render_look(seen))
    raise typer.Exit(0 if seen["readable"] else 1)


@app.command()
def query(
    sql: Annotated[str, typer.Argument(help="A question in DuckDB's SQL.")],
    depot: DepotPath = DEFAULT_DEPOT,
    to: Annotated[
        Path | None,
        typer.Option("--to", help="Write the whole answer to this .csv or .parquet file instead."),
    ] = None,
    rows: Annotated[int, typer.Option("--rows", min=1, help="Show at most this many rows.")] = 50,
) -> None:
    """Ask the warehouse one question in SQL; nothing can be changed by it.

    Example: manystrides query "SELECT * FROM completeness" --depot depot
    """
    from pipelines.storage import Depot
    from pipelines.warehouse.query import ask, print_answer, write_answer

    answer = ask(Depot(depot).warehouse, sql)
    if to is None:
        print_answer(answer, rows)
    else:
        write_answer(answer, to)
        typer.echo(f"{answer.num_rows} rows written to {to}")


@app.command()
def dev(
    study: StudyPath = DEFAULT_STUDY,
    inbox: InboxPath = DEFAULT_INBOX,
    depot: DepotPath = DEFAULT_DEPOT,
    port: Annotated[int, typer.Option(help="Port on this machine.")] = 3000,
) -> None:
    """Open the same pipeline in Dagster's web page, on this machine only. Ends with Ctrl-C.

    Example: manystrides dev --depot depot --port 3000
    """
    from pipelines.assets.serve import serve

    raise typer.Exit(serve(study, inbox, depot, port))


@app.command()
def withdraw(
    runner: Annotated[str, typer.Argument(help="The runner's participant_id.")],
    scope: Annotated[str, typer.Option("--scope", help="motion, force, muscle, metabolic, pooling or all.")],
    study: StudyPath = DEFAULT_STUDY,
    depot: DepotPath = DEFAULT_DEPOT,
    actor: Annotated[
        str | None,
        typer.Option("--as", help="Who does this, for the ledger; your user name if left out."),
    ] = None,
    why: Annotated[str | None, typer.Option("--why", help="Why, for the ledger; do not name the runner.")] = None,
) -> None:
    """Take a runner who withdrew, or one kind of data of the runner, out of everything live. Exit code 1 if it stays.

    Example: manystrides withdraw FS-07 --scope all --depot depot
    """
    from pipelines.withdrawal import withdraw as take_out

    done = take_out(study, depot, runner, scope, actor, why)
    typer.echo(done.text())
    raise typer.Exit(1 if done.found else 0)


@app.command()
def release(
    why: Annotated[str, typer.Option("--why", help="What the release is for, for the ledger and its README.")],
    study: StudyPath = DEFAULT_STUDY,
    depot: DepotPath = DEFAULT_DEPOT,
    actor: Annotated[
        str | None,
        typer.Option("--as", help="Who does this, for the ledger; your user name if left out."),
    ] = None,
) -> None:
    """Freeze the pooled data as a numbered release; consent is looked up again first. Does nothing if nothing changed.

    Example: manystrides release --why "First pooled analysis" --depot depot
    """
    from pipelines.release.make import release as freeze

    typer.echo(freeze(study, depot, why, actor).text())


@ledger_app.command("verify")
def verify_ledger(depot: DepotPath = DEFAULT_DEPOT) -> None:
    """Check that no line of the ledger was changed, removed or inserted. Exit code 1 if one was.

    Example: manystrides ledger verify --depot depot
    """
    from pipelines.ledger import verify
    from pipelines.run import ledger_reached
    from pipelines.storage import Depot

    place = Depot(depot)
    if not place.ledger.exists() and not place.built.exists():
        raise Unusable("There is no ledger here.", "a depot.", "Name the depot with --depot.", file=place.ledger)
    problems = verify(place.ledger, ledger_reached(place))
    for problem in problems:
        typer.echo(f"{place.ledger}, line {problem.line}: {problem.text}", err=True)
    if not problems:
        typer.echo(f"{place.ledger} is whole.")
    raise typer.Exit(1 if problems else 0)


def main() -> None:
    """Run the command; what a person can mend is told in plain words on standard error, with exit code 2."""
    import sys

    try:
        app()
    except Unusable as problem:
        typer.echo(str(problem), err=True)
        sys.exit(2)
    except KeyboardInterrupt:
        typer.echo("Interrupted; the depot is whole, and the next run goes on from here.", err=True)
        sys.exit(130)
    except BrokenPipeError:  # the reader, such as head, has seen enough
        sys.stderr.close()
        sys.exit(0)
    except OSError as problem:
        typer.echo(f"The system refused: {problem}. Nothing is half-written; mend this and run again.", err=True)
        sys.exit(2)
    except Exception as fault:
        import traceback

        traceback.print_exc()
        typer.echo(f"This is a fault of manystrides, not of your input: {type(fault).__name__}.", err=True)
        sys.exit(3)
