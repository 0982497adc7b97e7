"""The scanner against the Safe Harbor list, the innocent forms of the trade, and the planted set."""

from __future__ import annotations

import re
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchmarks.identifiers import measure as measured
from benchmarks.identifiers import names_on_the_list, texts_of
from pipelines.identity import kinds
from pipelines.identity.identifiers import kinds_in, masked, scan, scan_path, surely
from pipelines.identity.kinds import SAFE_HARBOR
from pipelines.identity.names import KnownNames
from pipelines.identity.patterns import SMALL_AREAS
from pipelines.intake.identifying import identifying_in
from tests.pipelines.identity.planted_texts import identifying, innocent, measure
from tests.published.values import rows

#: Item of the list, place, text. P: gait itself is for the ethics board to judge; only told prints are found.
EXAMPLES = [
    ("A", "comment", "Oddvar Brekkestad came late"),
    ("B", "comment", "lives at 14 Alderbrook Street"),
    ("B", "comment", "zip 036"),
    ("C", "comment", "measured on 14.09.2023"),
    ("C", "age", "93"),
    ("D", "comment", "tel. 22 33 44 55"),
    ("E", "comment", "fax 555-0142"),
    ("F", "comment", "write to a.b@lab.example"),
    ("G", "comment", "SSN 219-09-9999"),
    ("H", "comment", "MRN: 4488121"),
    ("I", "comment", "insurance no. 884422119"),
    ("J", "comment", "paid to account 44556677"),
    ("K", "comment", "coaching licence 448812"),
    ("L", "comment", "vehicle registration FX21 LKD"),
    ("M", "EMG:NOTE", "sensor S/N 448291"),
    ("N", "comment", "see https://runs.example/77"),
    ("O", "comment", "uploaded from 192.168.4.17"),
    ("P", "comment", "voice print file 0042"),
    ("Q", "file", "photos/start.jpg"),
    ("R", "comment", "bib 4471 in the race"),
]


@pytest.mark.parametrize(("item", "place", "text"), EXAMPLES)
def test_every_item_of_the_safe_harbor_list_is_found(item: str, place: str, text: str) -> None:
    found = scan_path(text) if place == "file" else scan(text, place)
    assert set(kinds_in(found)) & set(SAFE_HARBOR[item])


def test_the_list_is_whole() -> None:
    letters = {row["letter"] for row in rows("hipaa_safe_harbor")}
    assert letters == set(SAFE_HARBOR) == {item for item, _, _ in EXAMPLES}


def test_small_areas_are_those_of_the_guidance() -> None:
    assert set(SMALL_AREAS) == {row["zip3"] for row in rows("hipaa_zip3_restricted")}


def test_eighty_nine_may_stay_and_ninety_may_not() -> None:
    assert not scan("89", "age")
    assert kinds_in(scan("90", "age")) == ("age over 89",)


def test_the_planted_set_is_found_and_innocent_texts_are_left_alone() -> None:
    assert len(identifying()) >= 300
    assert len(innocent()) >= 300
    recall, alarms, missed, wrong = measure()
    assert recall >= 0.99, missed
    assert alarms <= 0.02, wrong


def test_given_names_are_found_whatever_their_case_or_accents() -> None:
    known = KnownNames.of(["Ødegård-Quux"])
    for text in ("ODEGARD said so", "odegard_run1", "run OdegardQuux"):
        assert scan(text, "ANALOG:LABELS", known), text
    assert not scan("run 1", "ANALOG:LABELS", known)
    assert "degard" not in repr(known).lower()


@given(st.text(max_size=300), st.sampled_from(["", "comment", "SUBJECTS:NAMES", "POINT:LABELS", "date"]))
def test_any_text_is_scanned_and_what_is_found_lies_within_it(text: str, place: str) -> None:
    found = scan(text, place)
    assert all(0 <= f.start < f.end <= len(text) for f in found)
    assert bool(found) == (masked(text, found) != text) or "(kept back)" in text


@pytest.mark.parametrize("letters", ["a", "1", "A", ".", "a.", "1-", "@a", "Aa ", "00:", "X1"])
def test_a_text_four_times_as_long_takes_about_four_times_as_long(letters: str) -> None:
    """Not sixteen times, as it would if every part were held against every other one."""

    def seconds(times: int) -> float:
        started = time.process_time()
        scan(letters * times, "comment")
        return time.process_time() - started

    assert seconds(20_000) < 8 * seconds(5_000) + 0.1


def test_what_the_open_library_writes_of_itself_is_no_identity_but_another_address_there_is(tmp_path):
    """EZC3D:CONTACT as the installed library writes it, and with somebody else's address in its place."""
    import ezc3d
    import numpy as np

    file = ezc3d.c3d()
    file["parameters"]["POINT"]["RATE"]["value"] = [100.0]
    file["parameters"]["POINT"]["LABELS"]["value"] = ["heel", "toe"]
    file["data"]["points"] = np.ones((4, 2, 5))
    path = tmp_path / "written.c3d"
    file.write(str(path))
    assert b"CONTACT" in path.read_bytes()
    assert identifying_in(path, "written.c3d") == ()
    own = re.search(rb"[a-z]+@[a-z]+\.com", path.read_bytes())
    assert own
    path.write_bytes(path.read_bytes().replace(own[0], b"x".ljust(len(own[0]) - 8, b"y") + b"@abc.com"))
    (found,) = identifying_in(path, "written.c3d")
    assert (found.kind, found.place) == ("mail address", "EZC3D:CONTACT")


@pytest.mark.parametrize(
    ("half", "recall", "with_list", "names", "alarms"),
    [
        ("held_out_2", 0.96, 0.996, 0.99, 0.0),
        ("held_out_3", 0.981, 0.996, 0.97, 0.0),
        ("held_out_4", 0.952, 0.993, 0.97, 0.004),
        ("held_out_5", 0.972, 0.99, 1.0, 0.01),
        ("held_out_6", 0.962, 1.0, 1.0, 0.028),
        ("held_out_7", 0.954, 0.965, 0.96, 0.148),
    ],
)
def test_texts_written_apart_from_the_scanner_are_found_as_often_as_is_told(
    half: str, recall: float, with_list: float, names: float, alarms: float
) -> None:
    """The figures of docs/explain/trust.md: what is found may be more, never less."""
    texts = texts_of(half)
    without, known = measured(texts), measured(texts, names_on_the_list(texts))
    assert without.recall >= recall
    assert known.recall >= with_list
    assert max(without.false_alarms, known.false_alarms) <= alarms
    assert all(found / of >= names for kind, (found, of) in known.by_kind.items() if kind.startswith("name"))


@pytest.mark.parametrize(
    "text",
    ["the Ohnishi filter again", "Farnsworth reflex not seen", "GrvDec", "FTNy", "no step 12 for this foot", "kcal per min", "Toe Drag Test"],
)  # fmt: skip
def test_a_thing_called_after_somebody_a_short_label_a_unit_and_a_title_are_no_likely_names(text: str) -> None:
    assert scan(text, "comment") == ()


@pytest.mark.parametrize(
    "text", ["McKay asked", "the Ohnishi shoe again", "shoe of DeWitt", "no 4471902 for this person", "Toe of Ohnishi"]
)
def test_what_only_looks_like_one_of_these_is_told(text: str) -> None:
    assert scan(text, "comment")


@pytest.mark.parametrize(
    ("line", "text"),
    [
        ("Anneliese Möhring", "Frau Moehring kam"),  # another spelling
        ("Anneliese Möhring", "die Schuhe, Möhrings linker"),  # another case
        ("Torbjørn Aas", "torbjoern_static"),
        ("Ярослава Мельник", "run of Melnik"),  # another writing
        ("Ярослава Мельник", "ботинок Ярославы"),
        ("Ileana Cotescu", "CotescuIleana_2"),
        ("Ileana Cotescu", "mail of icotescu"),
        ("Ileana Cotescu", "exports/cotescu/raw"),
    ],
)
def test_names_on_the_list_are_found_in_another_spelling_case_or_writing(line: str, text: str) -> None:
    assert "name of a person" in kinds_in(scan(text, "comment", KnownNames.of([line])))


@pytest.mark.parametrize(
    ("line", "text"),
    [("Mark Tann", "mark the toe"), ("Hope Carr", "hope it holds"), ("Marke Beller", "marker fell off")],
)
def test_words_of_the_language_are_no_names_though_the_list_has_them(line: str, text: str) -> None:
    assert not scan(text, "comment", KnownNames.of([line]))


@pytest.mark.parametrize("text", ["SUBJECTS:LABEL_PREFIXES", "R.Iliac.Crest", "R.ASIS", "Moment.Mx1", "MARKER_SETS"])
def test_labels_are_no_persons(text: str) -> None:
    assert not scan(text, "POINT:LABELS")
    assert not scan(text, "comment")


@pytest.mark.parametrize("line", ["Li Wu", "Wu, Li", "王伟", "Ng Jo"])
def test_names_of_two_letters_on_the_list_are_found(line: str) -> None:
    text = {"王伟": "王伟迟到了", "Ng Jo": "Jo Ng came late"}.get(line, "shoes of Li Wu")
    assert "name of a person" in kinds_in(scan(text, "comment", KnownNames.of([line])))


@pytest.mark.parametrize(
    ("listed", "text"),
    [
        ("Tuulikki Mäkinen", "kysy Mäkiseltä kivusta"),
        ("Goran Petrović", "Petroviću je spao marker"),
        ("Дмитрий Кузнецов", "Kuznecov second trial"),
        ("Елена Соловьёва", "Solovyova ran barefoot"),
        ("Yusuf Karabulut", "karabulutun dizi"),
        ("Kim Bang", "Kims rechter Schuh"),
    ],
)  # fmt: skip
def test_names_of_the_list_are_found_before_endings_and_by_their_sound(listed: str, text: str) -> None:
    assert scan(text, "comment", KnownNames.of([listed]))


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("recorded 18.4.23", kinds.MAYBE_DATE),
        ("the ninth of June", kinds.MAYBE_DATE),
        ("17 nzu 2009", kinds.MAYBE_DATE),
        ("2018. 3. 10.", kinds.MAYBE_DATE),
        ("1686300000 start", kinds.MAYBE_NUMBER),
        ("record 00771-B", kinds.MAYBE_NUMBER),
        ("ogilvie ran barefoot first", kinds.MAYBE_NAME),
    ],
)
def test_what_is_only_likely_is_shown_and_keeps_nothing_out(text: str, kind: str) -> None:
    assert kind in kinds_in(scan(text, "comment"))
    assert surely(text, "comment") == ()


@pytest.mark.parametrize(
    "text", ["software 18.4.23", "frames 12000-18000", "rate 1000/200", "gain 500 to 1000", "Mx My Mz", "левый маркер"]
)
def test_versions_rates_ranges_and_labels_are_not_even_likely(text: str) -> None:
    assert scan(text, "comment") == ()


@pytest.mark.parametrize(
    "text",
    ["Messung mit kaltem Wasser", "kein Ton vom Lautsprecher", "kolmannella kerralla onnistui",
     "la cámara estaba apagada", "le soleil gênait", "机器声音太大", "ベルトが遅い", "소리가 너무 커요", "обувь высохла", "لا صوت"],
)  # fmt: skip
def test_ordinary_remarks_of_other_languages_are_no_likely_names(text: str) -> None:
    assert scan(text, "comment") == ()


@pytest.mark.parametrize(
    "text", ["wendelboe repite", "Obermaier humpelt", "Laaksonen juoksi", "王小明 跑步", "김민수 신발", "佐々木の靴"]
)
def test_a_word_of_no_language_beside_ordinary_ones_is_likely_a_name(text: str) -> None:
    assert scan(text, "comment") != ()
