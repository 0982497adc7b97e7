"""What may be stored and shown unseen: words of the trade and the study, codes, numbers; never a name, date or number."""

from __future__ import annotations

import pytest

from benchmarks.identifiers import HARMLESS, texts_of
from pipelines.identity.vocabulary import Vocabulary
from tests.builders import a_study

CODES = ("FS-01", "FS-01-w5-brack-cushioned-1", "T001.a")
PLAIN = Vocabulary.of(a_study(known_texts=("Written by the exporter.",))).knowing(CODES)


@pytest.mark.parametrize(
    "text",
    [
        "", "12.5", "-3e-4", "20-450 Hz", "R.Iliac.Crest", "leftKnee", "P3.Fz4", "NNNmmNmm", "emg_tib_ant_L", "C7",
        "trials/FS-01-w5-brack-cushioned-1.c3d", "trials/FS-01_standing_02.c3d", "T001.a.edf", "FS-01", "soleus",
        "Written by the exporter.", "shod", "calcaneus_left", "left heel marker fell", "POINT:LABEL",
        "plate 1 Fx Fy", "frame 100000", "L.Heel", "knee_R", "Acc X", "force threshold 20 N", "plate 2 moment z", "R 2",
        "EMG TA L", "FOOT R", "frame 1984", "1950 N on plate 2", "trial 3 of 5, plate 2", "1984", "gain 1990", "run 0012", "SYNC FOOT R", "left heel L",
    ],
)  # fmt: skip
def test_words_of_the_trade_codes_and_numbers_fit(text: str) -> None:
    assert PLAIN.fits(text)


@pytest.mark.parametrize(
    "text",
    [
        "12 03 1987", "12-03", "7/3", "14.05.", "1.7.02", "1234567", "J. S.", "Will Brown", "Bo Xu", "王伟", "бегун",
        "FS-02", "XFS-01", "FS-019", "trials/FS-01_okafor.c3d", "written by the exporter", "a@b.example", "left 'heel'",
        "tested 3 May", "runner An Do late", "static 090623", "head " * 60, "R. Black", "Ball L", "R.Black", "black_r",
        "rblack", "run 3 R Black", "Black R", "marker of R. Heel", "5 N Ball", "v Test", "L. Heel", "840312", "5.X.2023",
        "B1984", "84 to 12 to 03", "84 and 03 and 12", "077009 kg 00123", "0779 and 0090 and 123", "left 1984", "3 and 12 and 1984",
        "file number: 77-20913", "plate 20913 and 45112",
    ],
)  # fmt: skip
def test_what_may_tell_of_somebody_does_not_fit(text: str) -> None:
    assert not PLAIN.fits(text)


def test_no_text_that_identifies_somebody_fits() -> None:
    texts = [
        one.text
        for half in (*(f"held_out{number}" for number in ("", "_2", "_3", "_4", "_5", "_6", "_7")), "tune", "tune_2")
        for one in texts_of(half)
        if one.kind != HARMLESS
    ]
    assert [text for text in texts if PLAIN.fits(text)] == []


def test_a_version_fits_only_where_versions_stand() -> None:
    assert PLAIN.fits_as("1.7.2", "EZC3D:VERSION")
    assert not PLAIN.fits_as("1.7.2", "STUDY:NOTE")


@pytest.mark.parametrize("text", ["Ball", "1984", "Pink Stone", "077009", "Lace Ball"])
def test_a_surname_or_a_year_alone_is_no_remark_but_may_be_a_label_or_a_cell_of_numbers(text: str) -> None:
    assert not PLAIN.fits_as(text, "comment")
    assert not PLAIN.fits_as(text, "SUBJECTS:NOTE")


@pytest.mark.parametrize("text", ["Ball", "1984", "Lace Ball"])
def test_a_label_or_a_number_in_a_cell_is_not_held_for_being_a_surname_or_a_year(text: str) -> None:
    assert PLAIN.fits_as(text, "POINT:LABELS")
    assert PLAIN.fits_as(text, "")


@pytest.mark.parametrize("text", ["good", "Slow", "left ball", "FS-01", "heel marker late"])
def test_short_remarks_of_the_trade_fit(text: str) -> None:
    assert PLAIN.fits_as(text, "comment")
