"""The commands that a laboratory uses on its own machine: check, pack, profile, look. Nothing of a depot is needed.

Each says first what it does and only then loads what it needs, so that nobody waits before an empty screen.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipelines.command.as_json import echo_json
from pipelines.command.logged import logged
from pipelines.command.options import DEFAULT_STUDY, AsJson, StudyPath


@logged
def check(
    delivery: Annotated[Path, typer.Argument(help="A bag, a ZIP file of one, or a plain folder.")],
    study: StudyPath = DEFAULT_STUDY,
    site: Annotated[str | None, typer.Option(help="The site; a plain folder needs it.")] = None,
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
    as_json: AsJson = False,
) -> None:
    """Check a delivery at the site as the depot will; nothing is kept. Exit code 1 if something must be corrected.

    Example: manystrides check my_delivery --study demo_site_uploads/study.yaml --site brack --report what_to_mend
    """
    said = f"Checking {delivery} as the depot will, for the study in {study}. Nothing leaves this machine."
    typer.echo(said, err=as_json)
    from pipelines.lab.check import check_at_the_lab
    from pipelines.progress import shown

    with shown(every=1) as progress:
        checked = check_at_the_lab(delivery, study, site, names, scrub, compare_readers, report, progress)
    if as_json:
        echo_json(checked.plain)
    else:
        typer.echo(checked.text)
    raise typer.Exit(checked.exit_code)


def pack(
    folder: Annotated[Path, typer.Argument(help="The folder with the tables and trial files; it is only read.")],
    to: Annotated[Path, typer.Option("--to", help="The delivery to make: a new folder, or a file ending in .zip.")],
    study: StudyPath = DEFAULT_STUDY,
    site: Annotated[str | None, typer.Option(help="The site, as in the study file.")] = None,
    number: Annotated[str | None, typer.Option(help="Delivery number: 1 for the first, then one higher.")] = None,
    contact_role: Annotated[str | None, typer.Option(help="Role of whom to ask, never a name: site lead.")] = None,
    include: Annotated[bool, typer.Option("--include", help="Pack files, too, that no table names.")] = False,
) -> None:
    """Make a delivery out of a working folder; what is not given is asked for at a terminal. Exit code 2 if refused.

    Example: manystrides pack my_folder --to brack-003.zip --site brack --number 3 --contact-role "site lead"
    """
    import sys

    typer.echo(f"Packing {folder} for the study in {study}. The folder is only read.")
    from pipelines.lab.packing.pack import pack as pack_folder
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


def profile(
    folder: Annotated[Path, typer.Argument(help="A folder with some of your C3D files, running and standing.")],
    site: Annotated[str | None, typer.Option(help="The site, as the study file will name it.")] = None,
    to: Annotated[Path | None, typer.Option("--to", help="Write the draft to this new file instead.")] = None,
    study: StudyPath = DEFAULT_STUDY,
    as_json: AsJson = False,
) -> None:
    """Draft a site profile from a site's own files: axes, rates, surface, labels. A person must confirm it.

    Example: manystrides profile my_recordings --site brack --to brack.yaml --study demo_site_uploads/study.yaml
    """
    typer.echo(f"Looking at the C3D files in {folder} for the marker roles of {study}.", err=True)
    from pipelines.lab.profile.draft import draft_profile, write_draft

    draft = draft_profile(folder, study, site)
    if to is not None:
        write_draft(draft, to)
    if as_json:
        echo_json(draft.plain(to))
    else:
        typer.echo(draft.text if to is None else draft.told(to), nl=to is not None)


def look(
    file: Annotated[Path, typer.Argument(help="A C3D file.")],
    as_json: AsJson = False,
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
    from pipelines.lab.look import look as look_into
    from pipelines.lab.look import render_look

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
        echo_json(seen)
    else:
        typer.echo(render_look(seen))
    raise typer.Exit(0 if seen["readable"] else 1)
