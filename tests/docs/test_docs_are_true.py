"""What the documents say exists, exists; what exists is in the documents."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from pipelines.command import docs_pages
from tests.command_line import command

REPO = Path(__file__).resolve().parents[2]
HAND_WRITTEN = sorted(
    p
    for p in [REPO / "README.md", REPO / "DEVELOPERS.md", *(REPO / "docs").rglob("*.md")]
    if "reference" not in p.relative_to(REPO).parts
)
#: Made by a run, so not there in a fresh clone.
MADE_BY_A_RUN = ("depot/", "inbox/", "raw/", "deliveries/", "pages/", "closed/", ".venv", ".tools")


def _name(path: Path) -> str:
    return str(path.relative_to(REPO))


def test_every_link_leads_somewhere(subtests: pytest.Subtests) -> None:
    for page in HAND_WRITTEN:
        targets = re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8"))
        local = [t for t in targets if not t.startswith(("http:", "https:", "mailto:"))]
        with subtests.test(page=_name(page)):
            assert [t for t in local if not (page.parent / t).exists()] == []


def test_every_path_that_is_named_exists(subtests: pytest.Subtests) -> None:
    tops = "schemas|checks|pipelines|tests|demo_site_uploads|docs|benchmarks"
    for page in HAND_WRITTEN:
        named = set(re.findall(rf"`((?:{tops})/[\w./-]*)`", page.read_text(encoding="utf-8")))
        with subtests.test(page=_name(page)):
            missing = [n for n in named if not n.startswith(MADE_BY_A_RUN) and not (REPO / n).exists()]
            assert missing == []


def test_the_generated_pages_are_up_to_date() -> None:
    assert docs_pages.main(["--check"]) == 0


def _queries() -> list[tuple[str, str]]:
    found = []
    for page in HAND_WRITTEN:
        if (
            page.name == "your_own_study.md"
        ):  # about recordings of its own: followed by tests/docs/test_your_own_study.py
            continue
        for block in re.findall(r"```sh\n(.*?)```", page.read_text(encoding="utf-8"), re.S):
            for line in block.replace("\\\n", " ").splitlines():
                if line.startswith(("manystrides sql", "manystrides look")):
                    found.append((_name(page), line))
    return found


@pytest.mark.parametrize(("page", "line"), _queries(), ids=lambda v: v[:60])
def test_every_query_and_look_in_the_documents_runs_on_the_demo(
    page: str, line: str, demo_depot: Path, tmp_path: Path
) -> None:
    words = [str(demo_depot) if w == "depot" else w for w in shlex.split(line, comments=True)]
    for i, word in enumerate(words):
        if word == "--to":
            words[i + 1] = str(tmp_path / words[i + 1])
    if words[1] == "sql" and "--depot" not in words:
        words += ["--depot", str(demo_depot)]
    done = command(*words[1:])
    assert done.returncode == 0, f"{page}: {line}\n{done.stdout}{done.stderr}"
