"""What the pages say and how they are made: content, escaping, links, structure, and what happens when written again."""

from __future__ import annotations

import base64
import hashlib
import itertools
import os
import re
from collections.abc import Callable
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest

from checks.registry import catalogue
from pipelines.errors import Unusable
from pipelines.pages import write_pages
from pipelines.pages.charts import look
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.reading_html import Element, read

#: What each check says should hold, by its name; on a page it stands without the full stop.
SAYS = {name: spec.sentence.rstrip(".") for name, spec in catalogue().items()}


SCRIPT = (Path(write_pages.__code__.co_filename).parent / "static" / "lists.js").read_text(encoding="utf-8")


def write(folder: Path, rows: small.Rows, **changes: object) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    places = small.Places(folder / "pages", small.build(folder / "warehouse.duckdb", rows))
    return write_pages(places, small.loaded_study(**changes)).parent


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("pages"), small.example())


def hostile_rows() -> small.Rows:
    """Every text that comes from outside holds markup, also in the ids."""
    text, trial, delivery_id = small.HOSTILE, f"T/../../{small.HOSTILE}", f"mill-{small.HOSTILE}"
    said = dict.fromkeys(("file", "place", "seen", "expected", "remedy"), text)
    return small.merged(
        small.study_rows(),
        {
            "deliveries": [
                small.delivery(delivery_id, "mill", 1, arrived_as=text, code_version=text),
                small.delivery(text, text, None, "stopped", arrived_as=text, received_utc=text),
            ],
            "standings": [
                small.standing(delivery_id, trial, "returned", site="mill", runner=text, kind=None)
                | {"visit": text, "condition": text}
            ],
            "findings": [
                small.finding("f1", delivery_id, trial, "a_check", signal=f"marker:{text}:up", moment_s=0.5, **said)
                | {"site": "mill"},
                *(small.finding(f"g{i}", delivery_id, trial, "a_check", **said) | {"site": "mill"} for i in range(5)),
                small.finding("f2", delivery_id, None, "a_check", **said) | {"site": "mill"},
                small.finding("f3", text, None, "a_check", "stops", **said) | {"site": text},
            ],
            "check_runs": [small.run(delivery_id, "a_check", trial, "crashed", text)],
            "finding_pictures": small.picture("f1", delivery_id, trial, text, text),
            "transition_weeks": [
                small.week(text, 1, 90.0, 30.0, 24.0, reason_null=text),
                small.week(text, 2, None, None, None),
            ],
        },
        _hostile_contrast(text),
        small.whole_site("mill", text=text),
        small.accepted("T9", "mill", text, text, 0.25),
        {
            "conditions": [{"condition": text, "description": text}],
            "curves": small.curve("T9", "vertical_force_bw", "{BW}", 2.0),
        },
    )


def _hostile_contrast(text: str) -> small.Rows:
    rows = small.contrast("stride_length_m", (text, -0.2))
    for row in (row for own in rows.values() for row in own):
        row |= {"condition": text, "reference_condition": text}
        row |= {"reason_null": text} if "estimate_value" in row else {}
    return rows


@pytest.fixture(scope="module")
def hostile_pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("hostile"), hostile_rows(), title=small.HOSTILE, citation=small.HOSTILE)


@pytest.fixture(scope="module")
def empty_pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("empty"), small.study_rows())


@pytest.fixture(scope="module", params=["pages", "hostile_pages", "empty_pages"])
def any_pages(request: pytest.FixtureRequest) -> Path:
    return request.getfixturevalue(request.param)


def each(folder: Path) -> list[tuple[str, Element]]:
    found = [*sorted(folder.rglob("*.html")), apart(folder)]
    return [(os.path.relpath(path, folder), read(path)) for path in found]


def apart(folder: Path) -> Path:
    """The page of the safety lead, beside the folder of the others."""
    return folder.with_name("safety") / "index.html"


def table(page: Element, caption: str) -> list[list[str]]:
    """Cells of the body of the table whose caption starts so."""
    (found,) = [t for t in page.all("table") if t.all("caption")[0].words.startswith(caption)]
    return [[cell.words for cell in row.all("th", "td")] for row in found.all("tbody")[0].all("tr")]


def test_there_is_a_page_for_the_overview_each_site_each_open_return_and_each_stopped_delivery(pages: Path) -> None:
    found = {str(p.relative_to(pages)) for p in pages.rglob("*") if p.is_file()}
    assert {name for name in found if name.startswith("deliveries/")} == {
        f"deliveries/{name}.html"
        for name in ("mill-001", "mill-002", "unknown-1", "way-001", "way-001-again", "way-002")
    }
    checks = {name for name in found if name.startswith("checks/")}
    assert {"checks/sides_alternate.html", "checks/marker_gaps_are_short.html"} <= checks
    assert found - checks - {name for name in found if name.startswith("deliveries/")} == {
        "index.html",
        "worklist.html",
        "worklist.csv",
        "deliveries.html",
        "checks.html",
        "answers.html",
        "curves.html",
        "glossary.html",
        "dictionary.html",
        "expectations.html",
        "sites/mill.html",
        "sites/way.html",
        "fix/gap.html",
        "fix/drift.html",
        "fix/crash.html",
        "fix/way-002.html",
        "fix/unknown-1.html",
    }


def test_the_overview_counts_what_the_warehouse_holds(pages: Path) -> None:
    page = read(pages / "index.html")
    (told,) = [p.words for p in page.all("p") if p.attributes.get("class") == "sum"]
    assert told == (
        "6 deliveries came, of which ■ 2 stopped. Trials: ● 12 accepted, ▲ 3 to send again, ◇ 1 withheld. In the pool: "
        "20 footfalls of 6 runners with an accepted running trial; 6 runners are enrolled with consent."
    )
    page = read(pages / "deliveries.html")
    assert [row[0] for row in table(page, "Deliveries")] == [
        "mill-001", "way-001", "mill-002", "way-002", "way-001-again", "unknown-1",
    ]  # fmt: skip
    assert table(page, "Deliveries")[0][3:] == ["● taken in", "9", "1", "0", "1", "21 1.2 MB"]


def test_the_grid_shows_every_planned_cell_and_what_came_without_a_known_visit(pages: Path) -> None:
    rows = {tuple(row[:2]): row[2:] for row in table(read(pages / "deliveries.html"), "Newest version")}
    assert rows["mill", "first (week 0)"] == ["● 4 runners, 4 running + 1", "● 4 runners, 4 running", "nothing yet"]
    assert rows["mill", "last (week 10)"] == ["● 1 runner, 1 running ▲ 1 returned", "▲ 1 returned", "nothing yet"]
    assert rows["mill", "withheld"] == ["◇ 1 withheld of which visit and condition are not shown"]
    assert rows["way", "last (week 10)"] == ["nothing yet"] * 3
    assert rows["way", "visit not known"] == ["nothing yet", "nothing yet", "▲ 1 returned"]


def test_reasons_for_return_count_trials_over_all_deliveries_and_say_how_many_are_open(pages: Path) -> None:
    rows = {row[0]: row[1:4] for row in table(read(pages / "checks.html"), "What should have held")}
    assert rows[SAYS["marker_gaps_are_short"]] == ["2", "1", "mill"]
    assert rows[SAYS["plates_read_zero_unloaded"]] == ["1", "1", "mill"]
    assert rows[SAYS["cells_fit_their_columns"] + " 1 finding in tables, without a trial"] == ["0", "0", "mill"]
    assert next(iter(rows)) == SAYS["marker_gaps_are_short"]
    assert SAYS["bag_is_complete_and_unchanged"] not in rows


def test_all_four_statuses_of_checks_are_shown_and_crashed_ones_come_first(pages: Path) -> None:
    rows = table(read(pages / "checks.html"), "How often each check")
    assert rows[0] == [SAYS["sides_alternate"], "0", "0", "0", "2"]
    assert "crashed: KeyError in f, line 3" in read(pages / "checks" / "sides_alternate.html").words
    gaps = next(row for row in rows if row[0] == SAYS["marker_gaps_are_short"])
    assert gaps[1:] == ["1", "1", "1", "0"]
    assert "a standing trial (1)" in read(pages / "checks" / "marker_gaps_are_short.html").words


def test_sites_and_conditions_are_compared_with_the_numbers_beside_the_chart(pages: Path) -> None:
    page = read(pages / "answers.html")
    # mill, shod: runners at 0.246, 0.252, 0.258, 0.264 s plus 0.003 s, the mean of two footfalls
    rows = table(page, "Contact time (s)")
    assert ["shod", "mill", "0.258", "0.008", "4"] in rows
    assert ["unshod", "way", "–", "–", "0"] in rows
    titles = [t.words for t in page.all("title")[1:]]
    for outcome in ("Contact time", "Stride length", "Impact peak", "Foot strike angle"):
        assert f"{outcome} by condition and site" in titles


def test_a_site_page_shows_only_its_own_returns_and_its_difference_from_the_others(pages: Path) -> None:
    page = read(pages / "sites" / "mill.html")
    assert [row[0].split()[0] for row in table(page, "Each trial has a fix sheet")] == ["drift", "gap"]
    assert "send them in delivery number 3 or later" in page.words
    assert ["Contact time (s)", "shod", "0.258 n = 4", "0.261 n = 2", "−0.003"] in table(page, "Mean over runners")
    other = read(pages / "sites" / "way.html").words
    assert "way-002" in other
    assert "mill-002" not in other
    assert "drift" not in other


def test_a_fix_sheet_says_what_was_seen_expected_and_to_be_done_and_draws_the_moment(pages: Path) -> None:
    page = read(pages / "fix" / "drift.html")
    terms = page.all("section")[1].all("dl")[0]
    said = dict(zip([dt.words for dt in terms.all("dt")], [dd.words for dd in terms.all("dd")], strict=True))
    assert said == {
        "Seen": "Plate 1 reads 180 N with nobody on it.",
        "Expected": "An unloaded plate reads within 10 N of zero.",
        "Do this": "Zero the plates before the trial, or correct the offset where the force is exported, and export again.",
        "Where": "trials/drift.c3d, plate 1",
        "When": "0.420 s into the trial",
    }
    (figure,) = page.all("figure")
    assert figure.all("figcaption")[0].words == "Vertical force, plate 1. Shaded without a letter: no value."
    labels = [t.words for t in figure.all("text")]
    assert "1,780 N" in labels
    assert {"Time in the trial (s)", "N", "▼ 0.420 s", "expected: at most 1,500 N", "L"} <= set(labels)
    assert (
        "Drawn: 180 N to 1,780 N. Expected: at most 1,500 N. The finding is at 0.420 s." in figure.all("desc")[0].words
    )
    assert "Keep the trial id drift" in page.words
    assert "must be corrected check plates_read_zero_unloaded" in page.words, "the name by which it is set aside"


def test_a_fix_sheet_leads_to_the_page_of_each_check_that_has_one(pages: Path) -> None:
    leading = [a for a in read(pages / "fix" / "gap.html").all("a") if a.attributes["href"].startswith("../checks/")]
    assert [check.words for check in leading] == ["marker_gaps_are_short"]
    assert (pages / "fix" / leading[0].attributes["href"]).is_file()


def test_a_fix_sheet_says_what_can_be_done_where_it_cannot_be_corrected(pages: Path) -> None:
    page = read(pages / "fix" / "drift.html")
    assert "new delivery, under a number mill has not used yet (the next free one)" in page.words
    assert "a runner who reports pain" in page.words


def test_many_findings_of_one_check_are_drawn_thrice_and_then_listed(pages: Path) -> None:
    page = read(pages / "fix" / "gap.html")
    assert [h.words for h in page.all("h3")] == [
        f"1. {SAYS['marker_gaps_are_short']}",
        f"2. {SAYS['speed_keeps_to_the_protocol']}",
    ]
    assert len(table(page, f"{SAYS['marker_gaps_are_short']}: further findings")) == 2
    for n in range(5):
        assert f"Seen f-gap{n}." in page.words
    assert "for your notice" in page.words


def test_a_crashed_check_is_not_the_laboratorys_to_mend(pages: Path) -> None:
    page = read(pages / "fix" / "crash.html")
    assert "there is nothing for way to correct" in page.words
    assert "the check itself crashed" in page.words
    assert "How to send it again" not in page.words


def test_a_stopped_delivery_has_its_own_sheet_also_when_its_site_is_not_known(pages: Path) -> None:
    known = read(pages / "fix" / "way-002.html").words
    assert SAYS["bag_is_complete_and_unchanged"] in known
    assert "Its number may stay 2" in known
    unknown = read(pages / "fix" / "unknown-1.html").words
    assert "For the site that sent it" in unknown
    assert "Give it your next free delivery number" in unknown


def test_a_stopped_delivery_that_was_replaced_under_its_number_needs_nothing_more(tmp_path: Path) -> None:
    rows = small.study_rows() | {
        "deliveries": [small.delivery("way-002.x", "way", 2, "stopped"), small.delivery("way-002", "way", 2)]
    }
    folder = write(tmp_path, rows)
    assert not list((folder / "fix").glob("*"))
    assert "replaced since" in read(folder / "deliveries.html").words


def test_a_withheld_trial_is_a_number_and_nothing_else(pages: Path) -> None:
    for path in pages.rglob("*"):
        text = path.name + (path.read_text(encoding="utf-8") if path.is_file() else "")
        for secret in ("secret-trial", "SECRETRUNNER", "f-withheld", "f-secret2"):
            assert secret not in text, path
    assert "Trial (a withheld trial) stands twice." in read(pages / "checks.html").words


def test_a_trial_that_was_withheld_and_is_now_returned_is_shown_again(tmp_path: Path) -> None:
    rows = small.study_rows() | {
        "deliveries": [small.delivery("mill-001", "mill", 1), small.delivery("mill-002", "mill", 2)],
        "standings": [
            small.standing("mill-001", "again", "withheld", superseded=True),
            small.standing("mill-002", "again", "returned"),
        ],
        "findings": [small.finding("f1", "mill-002", "again", "marker_gaps_are_short")],
    }
    assert "Seen f1." in read(write(tmp_path, rows) / "fix" / "again.html").words


def test_another_laboratorys_trial_of_the_same_id_as_a_withheld_one_still_gets_its_sheet(tmp_path: Path) -> None:
    rows = small.study_rows() | {
        "deliveries": [small.delivery("mill-001", "mill", 1), small.delivery("way-001", "way", 1)],
        "standings": [small.standing("mill-001", "T1", "withheld"), small.standing("way-001", "T1", "returned")],
        "findings": [small.finding("f1", "way-001", "T1", "keys_are_unique")],
    }
    assert "Seen f1." in read(write(tmp_path, rows) / "fix" / "T1.html").words


def test_text_from_a_delivery_is_never_markup(hostile_pages: Path) -> None:
    shown = 0
    for name, page in each(hostile_pages):
        assert [e.text for e in page.all("script")] == (
            [SCRIPT] if name in ("worklist.html", "index.html") or name.startswith("sites") else []
        )
        assert not page.all("img"), name
        assert not [a for e in page.all() for a in e.attributes if a.startswith("on")], name
        shown += page.text.count(small.HOSTILE)
    assert shown > 20
    for path in hostile_pages.rglob("*"):
        assert re.fullmatch(r"[A-Za-z0-9._-]+", path.name)
        assert hostile_pages in path.resolve().parents


def test_nothing_is_fetched_and_nothing_runs_but_our_one_script(any_pages: Path) -> None:
    for name, page in each(any_pages):
        elements = page.all()
        assert not {"iframe", "object", "embed", "img", "image", "form", "base"} & {e.tag for e in elements}
        (policy,) = [e for e in elements if e.attributes.get("http-equiv") == "Content-Security-Policy"]
        assert "default-src 'none'" in policy.attributes["content"], name
        scripts, allowed = page.all("script"), policy.attributes["content"].partition("script-src ")[2]
        if scripts:
            assert [e.text for e in scripts] == [SCRIPT]
            digest = base64.b64encode(hashlib.sha256(SCRIPT.encode()).digest()).decode()
            assert allowed == f"'sha256-{digest}'", "this script and no other"
        else:
            assert not allowed
        for element in elements:
            for attribute in ("href", "src", "xlink:href", "action", "srcset"):
                target = element.attributes.get(attribute)
                if target is not None and target.startswith("data:text/csv;") and element.tag == "a":
                    assert element.attributes["download"].endswith(".csv"), "it is saved and never opened"
                elif target is not None:
                    parts = urlsplit(target)
                    assert not parts.scheme and not parts.netloc, (name, target)  # noqa: PT018
        for style in page.all("style"):
            assert "url(" not in style.text
            assert "@import" not in style.text
        assert not list(page.all("link"))


def test_every_link_leads_somewhere(any_pages: Path) -> None:
    ids = {name: {e.attributes["id"] for e in page.all() if "id" in e.attributes} for name, page in each(any_pages)}
    links = 0
    for name, page in each(any_pages):
        for element in (e for e in page.all("a") if "download" not in e.attributes):
            parts = urlsplit(element.attributes["href"])
            target = ((any_pages / name).parent / unquote(parts.path)).resolve() if parts.path else any_pages / name
            assert target.is_file(), (name, element.attributes["href"])
            if parts.fragment:
                assert parts.fragment in ids[os.path.relpath(target, any_pages.resolve())], (name, parts.fragment)
            links += 1
    assert links >= 3 * len(ids)


def test_pages_have_the_structure_that_assistive_technology_needs(any_pages: Path) -> None:
    for name, page in each(any_pages):
        assert page.all("html")[0].attributes["lang"] == "en"
        assert [len(page.all(tag)) for tag in ("h1", "main", "header", "footer")] == [1] * 4, name
        names = [nav.attributes["aria-label"] for nav in page.all("nav")]
        assert names
        assert len(set(names)) == len(names), name
        assert page.all("title")[0].words
        levels = [int(h.tag[1]) for h in page.all("h1", "h2", "h3", "h4", "h5", "h6")]
        assert levels[0] == 1
        assert all(b - a <= 1 for a, b in itertools.pairwise(levels)), (name, levels)
        assert page.all("a")[0].attributes == {"class": "skip", "href": "#content"}
        ids = [e.attributes["id"] for e in page.all() if "id" in e.attributes]
        assert len(ids) == len(set(ids)), name
        pointed = [
            v
            for e in page.all()
            for a in ("aria-labelledby", "aria-describedby")
            for v in e.attributes.get(a, "").split()
        ]
        assert set(pointed) <= set(ids), name
        for element in page.all("table"):
            assert element.all("caption")[0].words, name
            assert element.all("thead")[0].all("th"), name
            assert all(th.attributes.get("scope") in ("col", "row") for th in element.all("th")), name
            assert all(row.all("th") for row in element.all("tr")), name
            columns = len(element.all("thead")[0].all("th"))
            for row in element.all("tbody")[0].all("tr"):
                assert sum(int(c.attributes.get("colspan", 1)) for c in row.all("th", "td")) == columns, name
        for chart in page.all("svg"):
            if chart.attributes.get("aria-hidden") != "true":
                assert chart.attributes["role"] == "img"
                assert chart.all("title")[0].words
                assert chart.all("desc")[0].words


def test_invented_data_say_so_on_every_page_and_real_data_do_not(pages: Path, tmp_path: Path) -> None:
    assert all("Invented demonstration data." in page.words for _, page in each(pages))
    real = write(tmp_path, small.study_rows(), invented=False)
    assert not any("Invented" in page.words for _, page in each(real))


def test_every_page_says_which_versions_and_facts_it_was_made_from(pages: Path) -> None:
    for name, page in each(pages):
        foot = page.all("footer")[0].words
        assert "study file version 1+0123abcd" in foot, name
        if not str(name).startswith(("fix/", "checks/", "deliveries/", "../safety/")):  # made of own facts
            assert "6 deliveries" in foot, name
            assert "the last delivery came 2026-03-21 10:00 UTC" in foot
        assert "manystrides 0.1.0" in foot


def test_an_empty_warehouse_gives_pages_that_say_so(empty_pages: Path) -> None:
    assert "No delivery has come yet" in read(empty_pages / "index.html").words
    assert "No delivery has come yet" in read(empty_pages / "deliveries.html").words
    assert "No trial is waiting to be sent again" in read(empty_pages / "worklist.html").words
    words = read(empty_pages / "answers.html").words
    assert "No outcomes yet" in words
    assert "No runner has a value in two conditions" in words
    assert "No weekly log has come yet" in read(apart(empty_pages)).words
    assert "No curves yet" in read(empty_pages / "curves.html").words
    assert {str(p.relative_to(empty_pages)) for p in empty_pages.rglob("*.html")} == {
        "index.html", "worklist.html", "deliveries.html", "checks.html", "answers.html", "curves.html", "glossary.html",
        "expectations.html", "dictionary.html", "sites/mill.html", "sites/way.html",
    }  # fmt: skip


def test_the_same_warehouse_gives_the_same_bytes_and_touches_no_file(tmp_path: Path) -> None:
    folder = write(tmp_path / "one", small.example())
    before = {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.rglob("*.html")}
    write_pages(small.Places(folder, folder.parent / "warehouse.duckdb"), small.loaded_study())
    assert {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.rglob("*.html")} == before
    other = write(tmp_path / "two", small.example())
    there, here = str(other.parent).encode(), str(folder.parent).encode()
    assert {p.relative_to(other): p.read_bytes().replace(there, here) for p in other.rglob("*.html")} == {
        p.relative_to(folder): content for p, (content, _) in before.items()
    }, "but for the depot that commands name"


def test_a_sheet_goes_away_when_its_trial_is_mended_and_other_files_stay(tmp_path: Path) -> None:
    folder = write(tmp_path, small.example())
    (folder / "fix" / ".gap.html.0123").write_text("left by a killed run")
    (folder / ".safety.html.0123").write_text("left by a killed run")
    (folder / "safety.html").write_text("of an older version, among the pages for everybody")
    (folder / "README.txt").write_text("put here by a person")
    rows = small.example()
    for row in rows["standings"]:
        row["superseded"] |= row["trial_id"] == "gap"
    mended = small.build(tmp_path / "mended.duckdb", rows)
    write_pages(small.Places(folder, mended), small.loaded_study())
    assert {p.name for p in (folder / "fix").iterdir()} == {
        "drift.html", "crash.html", "way-002.html", "unknown-1.html",
    }  # fmt: skip
    assert (folder / "README.txt").exists()
    assert not list(folder.glob("*safety*"))
    assert "gap" not in [a.words for a in read(folder / "worklist.html").all("a")]


def test_without_a_warehouse_the_message_says_what_to_do_and_old_pages_stay(tmp_path: Path) -> None:
    folder = write(tmp_path, small.example())
    before = sorted(folder.rglob("*"))
    with pytest.raises(Unusable, match="manystrides run"):
        write_pages(small.Places(folder, tmp_path / "nowhere.duckdb"), small.loaded_study())
    (tmp_path / "broken.duckdb").write_bytes(b"not a database" * 500)
    with pytest.raises(Unusable, match="manystrides run"):
        write_pages(small.Places(folder, tmp_path / "broken.duckdb"), small.loaded_study())
    assert sorted(folder.rglob("*")) == before


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_text_has_the_contrast_that_wcag_asks_for(pages: Path) -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    style = read(pages / "index.html").all("style")[0].text
    light = dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", style.split("}")[0]))
    (dark,) = re.findall(r"prefers-color-scheme: dark\) \{\s*:root \{(.*?)\}", style, re.DOTALL)
    for colour in (light, light | dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", dark))):
        for ground in ("paper", "sheet", "soft", "yellow"):
            for text in ("ink", "muted", "deep"):
                assert contrast(colour[text], colour[ground]) >= 4.5, (text, ground)
            assert contrast(colour["blue"], colour[ground]) >= 3, f"focus ring on {ground}"
        assert contrast(colour["sign"], colour["sheet"]) >= 4.5
        assert contrast(colour["blue"], colour["sheet"]) >= 4.5, "the sign of what was accepted"
    colour = light
    for drawn in (look.INK, look.BLUE, *look.SITE_COLOURS[:4]):
        assert contrast(drawn, colour["sheet"]) >= 3, drawn


def test_a_fix_sheet_that_would_say_the_same_is_not_made_again(tmp_path: Path) -> None:
    """Told by a mark put into each file, which only goes where a sheet is made again."""
    folder = write(tmp_path, small.example())
    for path in (folder / "fix").iterdir():
        path.write_bytes(path.read_bytes() + b"<!-- not made again -->")

    def made_again(name: str, **changes: Callable[[dict], None]) -> set[str]:
        rows = small.example()
        rows["deliveries"].append(
            small.delivery("mill-009", "mill", 9) if name == "way" else small.delivery("x", None, 12)
        )
        for table, change in changes.items():
            for row in rows[table]:
                change(row)
        warehouse = small.build(tmp_path / f"{name}.duckdb", rows)
        write_pages(small.Places(folder, warehouse), small.loaded_study())
        return {p.name for p in (folder / "fix").iterdir() if b"not made again" not in p.read_bytes()}

    assert made_again("nothing of them") == set()
    assert made_again("way") == set(), "the next number of mill is another, but that stands on its own page"
    assert made_again("line", finding_pictures=lambda row: row.update(across_value=1.5)) == {"gap.html", "drift.html"}
    words = made_again("words", findings=lambda row: row.update(seen="Other words."))
    assert words >= {"gap.html", "drift.html", "crash.html"}
