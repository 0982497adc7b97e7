"""What the documents say exists, exists; what exists is in the documents."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from checks.registry import catalogue
from schemas.catalogue import TABLES

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


@pytest.mark.parametrize("page", HAND_WRITTEN, ids=_name)
def test_every_link_leads_somewhere(page: Path) -> None:
    targets = re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8"))
    local = [t for t in targets if not t.startswith(("http:", "https:", "mailto:"))]
    missing = [t for t in local if not (page.parent / t).exists()]
    assert not missing


@pytest.mark.parametrize("page", HAND_WRITTEN, ids=_name)
def test_every_path_that_is_named_exists(page: Path) -> None:
    tops = "schemas|checks|pipelines|tests|demo_site_uploads|docs|benchmarks"
    named = set(re.findall(rf"`((?:{tops})/[\w./-]*)`", page.read_text(encoding="utf-8")))
    missing = [n for n in named if not n.startswith(MADE_BY_A_RUN) and not (REPO / n).exists()]
    assert not missing


@pytest.mark.parametrize("table", TABLES)
def test_every_table_has_its_page(table: str) -> None:
    page = REPO / "docs/reference/tables" / f"{table}.md"
    assert page.read_text(encoding="utf-8").startswith(f"# {table}\n")


@pytest.mark.parametrize("check", catalogue())
def test_every_check_has_its_page(check: str) -> None:
    page = REPO / "docs/reference/checks" / f"{check}.md"
    assert page.read_text(encoding="utf-8").startswith(f"# {check}\n")


def test_the_generated_pages_are_up_to_date() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "pipelines.command.docs_pages", "--check"],
        cwd=REPO,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def _queries() -> list[tuple[str, str]]:
    found = []
    for page in HAND_WRITTEN:
        for block in re.findall(r"```sh\n(.*?)```", page.read_text(encoding="utf-8"), re.S):
            for line in block.replace("\\\n", " ").splitlines():
                if line.startswith(("manystrides query", "manystrides look")):
                    found.append((_name(page), line))
    return found


@pytest.mark.parametrize(("page", "command"), _queries(), ids=lambda v: v[:60])
def test_every_query_and_look_in_the_documents_runs_on_the_demo(
    page: str, command: str, demo_depot: Path, tmp_path: Path
) -> None:
    words = [str(demo_depot) if w == "depot" else w for w in shlex.split(command, comments=True)]
    for i, word in enumerate(words):
        if word == "--to":
            words[i + 1] = str(tmp_path / words[i + 1])
    if words[1] == "query" and "--depot" not in words:
        words += ["--depot", str(demo_depot)]
    program = Path(sys.executable).with_name("manystrides")
    done = subprocess.run([str(program), *words[1:]], cwd=REPO, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{page}: {command}\n{done.stdout}{done.stderr}"
