"""Writes the folder of a new study, whole or not at all, and proves that it can be read."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipelines.beginning.texts import plan_text, profile_text, study_text
from pipelines.beginning.wanted import Wanted
from pipelines.depot.new_files import part_beside, put_in_place, refuse_place
from pipelines.study.file import load_study
from pipelines.study.plan import NAME as PLAN

STUDY = "study.yaml"


@dataclass(frozen=True)
class Begun:
    """The folder of a new study."""

    folder: Path
    wanted: Wanted

    def text(self) -> str:
        """What was written and what comes next, for people."""
        site, study = self.wanted.sites[0].name, self.folder / STUDY
        return "\n".join(
            [
                f"The study is begun in {self.folder}:",
                "  study.yaml   what the study decides; read it, describe conditions, visits and sites",
                "  sites/       a profile for each site, not finished; each says what is missing",
                *(["  plan.yaml    an analysis plan to fill in before anybody looks at an answer"] * self._has_plan),
                "  inbox/       a folder for the deliveries of each site",
                "Next, for each site, from a few of its own recordings (standing and running):",
                f"  manystrides profile RECORDINGS --study {study} --site {site} --to {self.folder}/sites/{site}.yaml",
                "then read every line of it. How it goes on: docs/how_to/your_own_study.md.",
            ]
        )

    @property
    def _has_plan(self) -> bool:
        return (self.folder / PLAN).exists()


def begin(folder: Path, wanted: Wanted) -> Begun:
    """Write the study into ``folder``, which is new or empty. Raises Unusable if it holds something already."""
    refuse_place(folder, empty_folder=True)
    with part_beside(folder) as work:
        for site in wanted.sites:
            (work / "inbox" / site.name).mkdir(parents=True)
        texts = {Path(STUDY): study_text(wanted), Path(PLAN): plan_text(wanted)}
        texts |= {Path("sites", f"{site.name}.yaml"): profile_text(site, wanted) for site in wanted.sites}
        (work / "sites").mkdir()
        for name, text in texts.items():
            if text is not None:
                (work / name).write_text(text, encoding="utf-8", newline="\n")
        load_study(work / STUDY)
        put_in_place(work, folder, empty_folder=True)
    return Begun(folder, wanted)
