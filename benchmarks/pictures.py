"""Whether pictures prove what checks say: of each check of a trial its planted fault, and what is drawn of it.

    .venv/bin/python -m benchmarks.pictures [--page FILE] [CHECK ...]

Counts the checks whose picture holds a number outside of what it draws as expected, those that draw a signal and no
expectation, and those that draw nothing. ``--page`` writes all of them on one page, to be looked at.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from pathlib import Path

from benchmarks.detection.plants import Plant, plants
from benchmarks.detection.specimens import specimen
from benchmarks.detection.way import STAMP, shown_of
from checks.context import Context
from checks.evidence import Picture
from checks.findings import Finding
from checks.registry import CheckSpec, Subject, Weight, catalogue
from checks.run import run_one
from pipelines.judging.pictures import picture_of

_CSS = Path(__file__).resolve().parents[1] / "pipelines" / "pages" / "static" / "pages.css"


@dataclass(frozen=True)
class Seen:
    """The first finding on a planted fault, and its picture."""

    spec: CheckSpec
    finding: Finding
    picture: Picture | None

    @property
    def verdict(self) -> str:
        """What the picture is worth."""
        if self.picture is None:
            return "nothing drawn"
        if not any(panel.expected for panel in self.picture.panels):
            return "a signal, no limit"
        if not self.picture.shows_the_fault:
            return "DOES NOT SHOW THE FAULT"
        return "shows the fault" if self.picture.marks_the_worst(self.finding.moment_s) else "MARKS ANOTHER MOMENT"


def seen(only: set[str]) -> Iterator[Seen]:
    """Every check of a trial with the first of its plants in which it finds something."""
    own: dict[str, list[Plant]] = {}
    for plant in plants().values():
        own.setdefault(plant.check_name, []).append(plant)
    for spec in catalogue().values():
        if spec.about is Subject.TRIAL and (not only or spec.name in only):
            found = next(filter(None, (_planted(spec, plant) for plant in own.get(spec.name, ()))), None)
            if found is not None:
                yield found


def _planted(spec: CheckSpec, plant: Plant) -> Seen | None:
    for number in range(6):
        context = _context(plant, number)
        report = run_one(spec, context, STAMP) if context is not None else None
        if report is not None and report.findings and context is not None and context.work is not None:
            finding = next((f for f in report.findings if f.weight is spec.weight), report.findings[0])
            return Seen(spec, finding, picture_of(finding, context.work))
    return None


def _context(plant: Plant, number: int) -> Context | None:
    case = plant.case(number)
    chance = case.chance(plant.key)
    if plant.send is not None:
        context = plant.send(case, plant.matters, chance).context()
        return context if context.trial is not None else None
    assert plant.plant is not None
    return shown_of(plant.plant(specimen(case), plant.matters, chance), plant.check_name)


def page(found: list[Seen]) -> str:
    """All pictures under each other, as on a fix sheet."""
    from pipelines.pages.charts.picture import drawings

    parts = []
    for number, one in enumerate(found):
        drawn = drawings(one.picture, one.finding.moment_s, f"p{number}") if one.picture else []
        figures = "".join(f"<figure><figcaption>{escape(d.caption)}</figcaption>{d.svg}</figure>" for d in drawn)
        parts.append(
            f'<section class="fault"><h3>{one.spec.name} ({one.spec.weight}): {one.verdict}</h3><div class="sight">'
            f"<dl class=terms><dt>Seen</dt><dd>{escape(one.finding.seen)}</dd><dt>Expected</dt>"
            f"<dd>{escape(one.finding.expected)}</dd></dl><div>{figures}</div></div></section>"
        )
    head = '<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
    return (
        f"{head}<title>Pictures</title><style>{_CSS.read_text(encoding='utf-8')}</style><main>{''.join(parts)}</main>"
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Whether pictures prove what checks say.")
    parser.add_argument("--page", type=Path)
    parser.add_argument("checks", nargs="*")
    asked = parser.parse_args()
    found = list(seen(set(asked.checks)))
    for weight in (Weight.RETURNS, Weight.NOTES):
        own = [one for one in found if one.spec.weight is weight]
        print(f"\n{len(own)} checks that {weight}:")
        for verdict in sorted({one.verdict for one in own}):
            names = [one.spec.name for one in own if one.verdict == verdict]
            print(f"  {len(names):3} {verdict}: {', '.join(names)}")
    if asked.page:
        asked.page.write_text(page(found), encoding="utf-8")


if __name__ == "__main__":
    main()
