import re
from pathlib import Path

import pytest
import typer.main

from checks.registry import catalogue
from pipelines.command import docs_pages
from pipelines.command.docs_commands import leaf_commands
from pipelines.command.docs_pages import reference_pages, stale_reference, write_reference
from pipelines.command.main import app
from schemas.catalogue import TABLES
from schemas.model import LAYER_MEANING
from schemas.processing import Processing
from schemas.study import SiteProfile, Study


@pytest.fixture(scope="module")
def pages() -> dict[str, str]:
    return reference_pages()


def test_the_same_definitions_give_the_same_pages(pages):
    assert reference_pages() == pages


def test_written_pages_are_not_stale_and_changed_missing_and_left_over_ones_are(tmp_path):
    written = write_reference(tmp_path)
    assert sorted(p.relative_to(tmp_path).as_posix() for p in written) == sorted(reference_pages())
    assert stale_reference(tmp_path) == []
    (tmp_path / "study_file.md").unlink()
    (tmp_path / "commands.md").write_text("by hand")
    (tmp_path / "tables" / "no_such_table.md").write_text("left over")
    assert stale_reference(tmp_path) == ["commands.md", "study_file.md", "tables/no_such_table.md"]
    write_reference(tmp_path)
    assert stale_reference(tmp_path) == []
    assert not (tmp_path / "tables" / "no_such_table.md").exists()


def test_every_table_has_a_page_and_a_line_in_the_index(pages, subtests):
    for name in TABLES:
        with subtests.test(name=name):
            assert pages[f"tables/{name}.md"].startswith(f"# {name}\n\nOne row is {TABLES[name].one_row_is}.")
            assert f"[{name}]({name}.md)" in pages["tables/index.md"]


def test_every_check_has_a_page_that_says_what_why_and_at_which_limits(pages, subtests):
    for name in catalogue():
        with subtests.test(name=name):
            spec, page = catalogue()[name], pages[f"checks/{name}.md"]
            assert page.startswith(f"# {name}\n\n{spec.sentence}")
            for text in (spec.why, spec.seen, spec.expected, spec.remedy, f"**Weight**: {spec.weight}."):
                assert text in page
            for limit in spec.limits:
                (row,) = [line for line in page.splitlines() if line.startswith(f"| `{limit}` |")]
                default, unit, source = (cell.strip() for cell in row.strip("|").split("|")[1:])
                assert float(default) == pytest.approx(spec.defaults[limit], rel=1e-5)
                assert unit == f"`{spec.limits[limit].unit}`"
                assert source == spec.limits[limit].source
            assert f"[{name}]({name}.md) | {spec.weight} | {spec.sentence}" in pages["checks/index.md"]


@pytest.mark.parametrize("layer", LAYER_MEANING)
def test_the_index_of_tables_says_what_each_layer_is(layer, pages):
    assert f"## Layer {layer}\n\n{LAYER_MEANING[layer]}" in pages["tables/index.md"]


@pytest.mark.parametrize(
    ("model", "prefix", "page"),
    [(Study, "", "study_file.md"), (Processing, "processing.", "study_file.md"), (SiteProfile, "", "site_profile.md")],
)
def test_every_setting_is_on_its_page_with_its_description_and_default(model, prefix, page, pages):
    for name, field in model.model_fields.items():
        (row,) = [line for line in pages[page].splitlines() if line.startswith(f"| `{prefix}{name}` |")]
        cells = [cell.strip() for cell in row.strip("|").split(" | ")]
        assert cells[3] == field.description
        assert (cells[2] == "required") == field.is_required()
        if isinstance(field.default, float):
            assert float(cells[2]) == field.default


def test_settings_inside_named_groups_are_on_the_page(pages):
    for setting in (
        "visits.<name>.planned_week",
        "marker_roles.<name>.required",
        "sites.<name>.profile",
        "sites.<name>.events.contact_threshold_n",
    ):
        assert f"| `{setting}` |" in pages["study_file.md"]


def test_a_setting_says_its_bounds(pages):
    assert "| `processing.filter_order` | whole number, at least 1, at most 8 | 2 |" in pages["study_file.md"]
    assert "| `processing.marker_cutoff_hz` | number or null, at least 3 | null |" in pages["study_file.md"]


def test_every_command_is_on_the_page_with_every_option(pages):
    command = typer.main.get_command(app)
    leaves = dict(leaf_commands(command, ("manystrides",)))
    assert leaves
    for path, leaf in leaves.items():
        start = pages["commands.md"].index(f"## {' '.join(path)}\n")
        section = pages["commands.md"][start:].split("\n## ")[0]
        assert leaf.help.split("\n")[0] in section
        for parameter in leaf.params:
            if parameter.param_type_name == "option" and parameter.name != "help":
                assert f"`{parameter.opts[0]}`" in section


def test_links_between_pages_lead_to_pages(pages):
    for path, text in pages.items():
        for target in re.findall(r"\]\(([^)]+\.md)\)", text):
            joined = (Path("/r") / Path(path).parent / target).resolve().relative_to(Path("/r").resolve())
            assert joined.as_posix() in {*pages, *docs_pages.MEASURED}, f"{path} links to {target}"


def test_every_row_of_a_table_has_as_many_cells_as_its_header(pages):
    for path, text in pages.items():
        widths = None
        for line in text.splitlines():
            if line.startswith("| "):
                count = len(re.findall(r"(?<!\\)\|", line))
                widths = widths or count
                assert count == widths, f"{path}: {line}"
            else:
                widths = None


def test_checking_names_the_stale_page_shows_a_difference_and_ends_with_code_1(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(docs_pages, "REFERENCE", tmp_path)
    assert docs_pages.main([]) == 0
    assert docs_pages.main(["--check"]) == 0
    page = tmp_path / "site_profile.md"
    page.write_text(page.read_text().replace("Site profile", "Something else"))
    capsys.readouterr()
    assert docs_pages.main(["--check"]) == 1
    told = capsys.readouterr().err
    assert "site_profile.md" in told
    assert "-# Something else" in told
    assert "+# Site profile" in told
    assert "make docs" in told
    assert "Something else" in page.read_text(), "checking writes nothing"


def test_an_unknown_argument_is_refused(capsys):
    assert docs_pages.main(["--chek"]) == 2
    assert "usage" in capsys.readouterr().err
