import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.beginning.make import begin
from pipelines.beginning.texts import slug
from pipelines.beginning.wanted import Given, completed
from pipelines.errors import Unusable
from pipelines.study.file import load_study
from tests.command_line import REPO, command
from tests.tries import tries

ENOUGH = Given("Our study", ["cushioned", "unshod"], ["w0=0", "w10=10"], ["brack", "corrie"], "OS")


def test_a_new_study_is_read_and_says_what_each_profile_lacks(tmp_path: Path) -> None:
    folder = begin(tmp_path / "new", completed(ENOUGH, None)).folder
    loaded = load_study(folder / "study.yaml")
    assert (list(loaded.study.conditions), loaded.study.visits["w10"].planned_week) == (["cushioned", "unshod"], 10)
    assert not loaded.study.sites
    assert [draft.site for draft in loaded.drafts] == ["brack", "corrie"]
    for draft in loaded.drafts:
        assert {"surface", "marker_rate_hz", "axes.forward", "markers.calcaneus_left"} <= set(draft.lacks)
        assert not draft.wrong
        assert "site" not in draft.lacks
    assert loaded.plan is not None
    assert [one.contrast for one in loaded.plan.plan.primary] == ["condition", "interaction"]
    assert sorted(path.name for path in (folder / "inbox").iterdir()) == ["brack", "corrie"]


def test_planned_runners_of_a_site_wait_with_its_profile(tmp_path: Path) -> None:
    done = command(
        "init", tmp_path / "new", "--title", "Our study", "--prefix", "OS", "--condition", "shod", "--visit", "w0=0",
        "--site", "brack", "--site", "corrie", "--runners", "12",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    path = tmp_path / "new" / "study.yaml"
    assert load_study(path).study.planned_runners == {}
    demo = REPO / "demo_site_uploads" / "sites" / "brack.yaml"
    (tmp_path / "new" / "sites" / "brack.yaml").write_bytes(demo.read_bytes())
    assert load_study(path).study.planned_runners == {"brack": {"w0": {"shod": 12}}}


names = st.from_regex(r"[a-z][a-z0-9_]{0,8}", fullmatch=True)
free_words = st.text(max_size=30)


@tries(40)
@given(
    title=free_words,
    conditions=st.lists(st.tuples(names, free_words), min_size=1, max_size=3, unique_by=lambda one: one[0]),
    visits=st.dictionaries(names, st.integers(0, 200), min_size=1, max_size=3),
    sites=st.lists(st.tuples(names, free_words), min_size=1, max_size=3, unique_by=lambda one: one[0]),
    muscles=st.sets(st.sampled_from(["soleus", "tibialis_anterior", "biceps_femoris"])),
)
def test_whatever_is_answered_is_refused_or_can_be_read_as_meant(
    tmp_path_factory: pytest.TempPathFactory,
    title: str,
    conditions: list[tuple[str, str]],
    visits: dict[str, int],
    sites: list[tuple[str, str]],
    muscles: set[str],
) -> None:
    typed = Given(
        title,
        [f"{name}={words}" for name, words in conditions],
        [f"{name}={week}" for name, week in visits.items()],
        [f"{name}={words}" for name, words in sites],
        "OS",
        sorted(muscles),
    )
    folder = tmp_path_factory.mktemp("begun") / "new"
    try:
        begin(folder, completed(typed, None))
    except Unusable:
        assert not list(folder.parent.iterdir())
        return
    loaded = load_study(folder / "study.yaml")
    assert loaded.study.title == " ".join(title.split())
    assert [*loaded.study.conditions] == [name for name, _ in conditions]
    assert {name: visit.planned_week for name, visit in loaded.study.visits.items()} == visits
    assert set(loaded.study.muscles) == muscles
    assert [draft.site for draft in loaded.drafts] == sorted(name for name, _ in sites)


@pytest.mark.parametrize(
    ("words", "seen"),
    [
        (["--condition", "no"], "no word that YAML reads"),
        (["--condition", "Cushioned"], "'Cushioned' is no name"),
        (["--condition", "a", "--condition", "a"], "a stands twice"),
        (["--condition", "a", "--changes-to", "b"], "--changes-to names b"),
        (["--condition", "a", "--visit", "again=0"], "Two visits are in week 0"),
        (["--condition", "a", "--muscle", "calf"], "--muscle says 'calf'"),
        ([], "--condition (Conditions"),
    ],
)
def test_an_answer_that_cannot_be_used_is_named_and_leaves_nothing(tmp_path: Path, words: list[str], seen: str) -> None:
    rest = ["--title", "Our study", "--visit", "w0=0", "--site", "brack", "--prefix", "OS"]
    done = command("init", tmp_path / "new", *rest, *words)
    assert done.returncode == 2
    assert seen in done.stderr
    assert "What to do:" in done.stderr
    assert not list(tmp_path.iterdir())


def test_a_visit_without_its_week_and_a_folder_that_exists_are_refused(tmp_path: Path) -> None:
    rest = ["--title", "Our study", "--condition", "a", "--site", "brack", "--prefix", "OS"]
    done = command("init", tmp_path / "new", *rest, "--visit", "w0")
    assert (done.returncode, "visit w0 has '' for its week" in done.stderr) == (2, True)
    (tmp_path / "new").mkdir()
    done = command("init", ".", *rest, "--visit", "w0=0", cwd=tmp_path / "new")
    assert (done.returncode, "nothing is written over" in done.stderr) == (2, True), "nobody is left in no folder"
    assert command("init", tmp_path / "new", *rest, "--visit", "w0=0").returncode == 0, "an empty one is as good as new"
    before = {p: p.read_bytes() for p in (tmp_path / "new").rglob("*") if p.is_file()}
    done = command("init", tmp_path / "new", *rest, "--visit", "w0=0")
    assert (done.returncode, "nothing is written over" in done.stderr) == (2, True)
    assert {p: p.read_bytes() for p in (tmp_path / "new").rglob("*") if p.is_file()} == before


def test_what_was_not_given_is_asked_until_it_can_be_used() -> None:
    answers = iter(["Our study", "cushioned, unshod", "w0", "w0=0, w10=10", "brack", "os", "OS"])
    asked: list[str] = []

    def ask(words: str) -> str:
        asked.append(words)
        return next(answers)

    wanted = completed(Given(), ask)
    assert [one.name for one in wanted.conditions] == ["cushioned", "unshod"]
    assert [(one.name, one.week) for one in wanted.visits] == [("w0", 0), ("w10", 10)]
    assert wanted.prefix == "OS"
    assert "'os' is no prefix" in asked[-1]


def test_two_titles_never_give_a_depot_the_same_word_because_letters_were_lost() -> None:
    titles = ["日本語", "研究", "-", "The study", "Étude des pas", "Etude des pas", "x" * 60, "x" * 61, "Лесной бег"]
    words = [slug(title) for title in titles]
    assert len(set(words)) == len(titles)
    assert all(re.fullmatch(r"[a-z0-9_]{1,40}", word) for word in words)
    assert slug("The Fellside footwear study") == "fellside_footwear"
