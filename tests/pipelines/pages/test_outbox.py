"""The outbox: what each laboratory may be told lies ready, is nobody else's, and is written only if it says something new."""

from __future__ import annotations

import email
import email.policy
import io
import pickle
import re
import zipfile
from pathlib import Path
from typing import TypeVar

import pytest

from pipelines.depot.store import Store
from pipelines.pages.facts import read_facts
from pipelines.pages.outbox import Addresses, Asked, make_outbox, write_outbox
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.test_pages import hostile_rows

Value = TypeVar("Value")
NOBODY = Addresses()
NAMED = Addresses({"mill": "lead@mill.example"}, "data@study.example")


class Outbox:
    """An outbox that is written from a warehouse, again and again."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.builds = folder / "outbox", 0

    def write(
        self, rows: small.Rows, addresses: Addresses = NOBODY, *, beside: bool = False, **study: object
    ) -> list[str]:
        """beside: as a process beside makes it, to and from which everything is sent."""
        self.builds += 1
        warehouse = small.build(self.folder.with_name(f"warehouse-{self.builds}.duckdb"), rows)
        loaded = small.loaded_study(**study)
        asked = Asked(Store.on_disk(self.folder), warehouse, loaded, addresses)
        made = sent(make_outbox(sent(asked))) if beside else None
        return write_outbox(asked, read_facts(warehouse, loaded.study), made)

    def files(self) -> dict[str, bytes]:
        return {p.relative_to(self.folder).as_posix(): p.read_bytes() for p in self.folder.rglob("*") if p.is_file()}

    def text(self, name: str) -> str:
        return " ".join((self.folder / name).read_text(encoding="utf-8").split())


def sent(value: Value) -> Value:
    """What another process gets of a value."""
    return pickle.loads(pickle.dumps(value))  # type: ignore[no-any-return]


@pytest.fixture
def outbox(tmp_path: Path) -> Outbox:
    return Outbox(tmp_path)


def mail(content: bytes) -> email.message.EmailMessage:
    return email.message_from_bytes(content, policy=email.policy.default)  # type: ignore[return-value]


def test_each_laboratory_has_a_letter_a_draft_a_parcel_and_a_receipt_for_each_delivery(outbox: Outbox) -> None:
    assert outbox.write(small.example()) == ["mill", "way"]
    delivered = {row["delivery_id"]: row["site"] for row in small.example()["deliveries"] if row["site"]}
    assert set(outbox.files()) == {
        "READ_ME.txt",
        *(f"{site}/{name}" for site in ("mill", "way") for name in ("letter.txt", "letter.eml", f"{site}-returns.zip")),
        *(f"{site}/receipts/{delivery}.txt" for delivery, site in delivered.items()),
    }


def test_only_the_owner_may_look_into_it(outbox: Outbox) -> None:
    outbox.write(small.example())
    assert outbox.folder.stat().st_mode & 0o077 == 0
    assert all(path.stat().st_mode & 0o077 == 0 for path in outbox.folder.rglob("*") if path.is_file())


def test_a_receipt_tells_what_came_when_under_which_checksum_and_what_was_decided(outbox: Outbox) -> None:
    rows = small.example()
    own = next(row for row in rows["deliveries"] if row["delivery_id"] == "mill-002")
    own["fingerprint_sha256"] = "ab" * 32
    outbox.write(rows)
    text = outbox.text("mill/receipts/mill-002.txt")
    for told in ("mill-002.zip", own["received_utc"], "ab" * 32, "21 files, 1,234,567 bytes", "Decided: taken in."):
        assert told in text
    back = [r for r in rows["standings"] if r["delivery_id"] == "mill-002" and r["standing"] == "returned"]
    assert f"went back {len(back)}" in text
    assert back
    assert all(row["trial_id"] in text for row in back)


def test_a_letter_names_the_trials_that_were_judged_again_with_what_a_later_delivery_tells(outbox: Outbox) -> None:
    rows = small.example()
    outbox.write(rows)
    assert "tells otherwise" not in outbox.text("mill/letter.txt")
    for row in rows["standings"]:
        row["told_by_delivery"] = "mill-002" if row["delivery_id"] == "mill-001" else None
    outbox.write(rows)
    text = outbox.text("mill/letter.txt")
    assert "These trials were judged again with it." in text
    assert "mill-001, with what mill-002 tells: m-1-shod, m-1-unshod," in text
    assert "stand-1." in text, "and not old, which came again"
    assert "tells otherwise" not in outbox.text("way/letter.txt")


def sheets_in(parcel: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(parcel) as opened:
        return {name: opened.read(name) for name in opened.namelist() if name.startswith("fix/")}


def test_what_is_brought_up_to_date_is_what_is_made_anew(outbox: Outbox, tmp_path: Path) -> None:
    rows = small.example()
    outbox.write(rows)
    parcel = outbox.folder / "mill" / "mill-returns.zip"
    sheets = sheets_in(parcel)
    (one,) = (row for row in rows["findings"] if row["finding_id"] == "f-drift")
    one["seen"] = "Plate 1 reads 170 N with nobody on it."
    assert outbox.write(rows) == ["mill"]
    anew = Outbox(tmp_path / "anew")
    anew.folder.parent.mkdir()
    assert anew.write(rows, beside=True) == ["mill", "way"]
    assert outbox.files() == anew.files()
    assert 0 < sum(sheets_in(parcel)[name] == part for name, part in sheets.items()) < len(sheets)
    parcel.write_bytes(parcel.read_bytes()[:-30])
    outbox.write(rows)
    assert outbox.files() == anew.files(), "of a damaged parcel nothing is used"


def test_a_withheld_trial_is_a_number_in_receipt_and_letter(outbox: Outbox) -> None:
    rows = small.example()
    withheld = [r for r in rows["standings"] if r["standing"] == "withheld"]
    assert withheld
    outbox.write(rows)
    for name, content in outbox.files().items():
        assert not any(row["trial_id"].encode() in part for row in withheld for part in packed(name, content)), name


def packed(name: str, content: bytes) -> list[bytes]:
    """The texts of a file of the outbox, also of those in a zip or a mail."""
    if name.endswith(".zip"):
        with zipfile.ZipFile(io.BytesIO(content)) as opened:
            return [m.encode() for m in opened.namelist()] + [opened.read(m) for m in opened.namelist()]
    if name.endswith(".eml"):
        parts = [part for part in mail(content).walk() if not part.is_multipart()]
        own = [(part.get_filename() or "letter.txt", part.get_payload(decode=True)) for part in parts]
        return [text for file, enclosed in own for text in packed(file, enclosed)]  # type: ignore[arg-type]
    return [content]


@pytest.mark.parametrize("rows", [small.example, hostile_rows], ids=["usual", "hostile"])
def test_the_draft_is_a_mail_with_the_letter_and_the_parcel_and_without_a_recipient(rows, outbox: Outbox) -> None:
    outbox.write(rows())
    drafts = sorted(outbox.folder.rglob("letter.eml"))
    assert drafts
    for path in drafts:
        content = path.read_bytes()
        assert all(len(line) <= 998 for line in content.split(b"\r\n")), "RFC 5322, 2.1.1"
        assert b"\n" not in content.replace(b"\r\n", b"")
        read = mail(content)
        assert read["To"] is read["From"] is read["Cc"] is None
        assert not read.defects
        letter = (path.parent / "letter.txt").read_text(encoding="utf-8")
        assert letter.startswith(f"Subject: {read['Subject']}\n")
        body = read.get_body(("plain",))
        assert body is not None
        told = body.get_content().strip()
        assert told.split() == letter.partition("\n")[2].split()
        assert all(len(line) <= 72 for line in letter.splitlines()[1:] if " " in line.strip())
        assert not re.search(r"[a-z,]\n[a-z]", told), "a paragraph is one line, which flows on any screen"
        (enclosed,) = read.iter_attachments()
        assert enclosed.get_content() == next(path.parent.glob("*.zip")).read_bytes()


def test_a_recipient_stands_in_the_draft_only_of_the_site_the_settings_name_one_for(outbox: Outbox) -> None:
    outbox.write(small.example(), NAMED)
    own, other = (mail((outbox.folder / site / "letter.eml").read_bytes()) for site in ("mill", "way"))
    assert (own["To"], own["From"]) == ("lead@mill.example", "data@study.example")
    assert (other["To"], other["From"]) == (None, "data@study.example")


def test_only_the_part_of_a_laboratory_of_which_something_changed_is_written_again(outbox: Outbox) -> None:
    outbox.write(small.example())
    before = outbox.files()
    assert outbox.write(small.example()) == []
    changed = small.example()
    changed["deliveries"] = [*changed["deliveries"], small.delivery("way-009", "way", 9)]
    assert outbox.write(changed) == ["way"]
    after = outbox.files()
    assert {n for n in after if after[n] != before.get(n)} == {
        "way/receipts/way-009.txt", "way/letter.txt", "way/letter.eml", "way/way-returns.zip",
    }  # fmt: skip


def test_what_is_missing_or_changed_by_hand_in_the_parcel_is_made_again(outbox: Outbox) -> None:
    outbox.write(small.example())
    before = outbox.files()
    (outbox.folder / "mill" / "letter.eml").unlink()
    (outbox.folder / "way" / "way-returns.zip").write_bytes(b"spoiled")
    assert outbox.write(small.example()) == ["mill", "way"]
    assert outbox.files() == before


def test_what_is_no_longer_due_goes(outbox: Outbox) -> None:
    outbox.write(small.example())
    only_mill = small.example()
    only_mill["deliveries"] = [d for d in only_mill["deliveries"] if d["site"] != "way"]
    for name in ("standings", "findings"):
        only_mill[name] = [row for row in only_mill[name] if not row["delivery_id"].startswith("way")]
    outbox.write(only_mill)
    assert not (outbox.folder / "way").exists()
    assert (outbox.folder / "mill" / "letter.txt").exists()


def test_nothing_of_another_laboratory_is_in_a_part(outbox: Outbox) -> None:
    outbox.write(small.example())
    for name, content in outbox.files().items():
        site = name.partition("/")[0]
        other = {"mill": b"way-00", "way": b"mill-00"}.get(site)
        assert other is None or not any(other in part for part in packed(name, content)), name


def test_a_letter_names_a_day_only_if_the_study_does(outbox: Outbox) -> None:
    outbox.write(small.example())
    assert "Please answer by" not in outbox.text("mill/letter.txt")
    assert outbox.write(small.example(), answer_within_days=28) == ["mill", "way"]
    rows = small.example()
    (received,) = {d["received_utc"][:10] for d in rows["deliveries"] if d["delivery_id"] == "mill-002"}
    assert received == "2026-03-12"
    assert "Please answer by 2026-04-09" in outbox.text("mill/letter.txt")
    assert "What to do first: " in outbox.text("mill/letter.txt")
