"""Which deliveries the two laboratories send, and which fault stands where. What each fault must lead to is listed in
``expected_findings.csv``, which is written by hand: it says what should be found, not what was found.
"""

from __future__ import annotations

from pathlib import Path

from demo_site_uploads.simulator import faults
from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.measure import Asked
from demo_site_uploads.simulator.runner import Gait
from demo_site_uploads.simulator.tables import Rows

CONDITIONS = ("cushioned", "thin_soled", "unshod")
STANDING = Asked(kind="standing")
SHUFFLE = Gait(0.485, 0.055, 0.045, 0.6, 5.0, 0.2, 0.12, 0.028)  # feet hardly leave the belt
FAULTY_S = 2.4  # long enough for six footfalls


def _good(session: Session, passes: int) -> list[PlannedTrial]:
    """A whole session without faults: standing and running in every condition; every second pass runs back."""
    trials = []
    for condition in CONDITIONS:
        trials.append(PlannedTrial(session, condition, "standing", STANDING))
        for number in range(1, passes + 1):
            trials.append(PlannedTrial(session, condition, str(number), Asked(backwards=number % 2 == 0)))
    return trials


def _brack_001() -> Delivery:
    runners = ("FS-01", "FS-02", "FS-03")  # FS-03 travels: measured in both laboratories
    trials = [t for r in runners for t in _good(Session(r, "week_0", "brack"), passes=1)]
    return Delivery("brack", "brack-001", "brack", 1, tuple(trials))


def _corrie_001() -> Delivery:
    runners = ("FS-03", "FS-04", "FS-05")
    trials = [t for r in runners for t in _good(Session(r, "week_0", "corrie"), passes=2)]
    return Delivery("corrie", "corrie-001.zip", "corrie", 1, tuple(trials))


def _brack_002() -> Delivery:
    one, two = Session("FS-01", "week_5", "brack"), Session("FS-02", "week_5", "brack")
    slow = Session("FS-06", "week_0", "brack", speed_m_per_s=1.8)
    run = Asked(duration_s=FAULTY_S)
    trials = (
        PlannedTrial(one, "cushioned", "standing", STANDING),
        PlannedTrial(one, "cushioned", "1", run, faults.channels_scaled("P1", 1.18)),
        PlannedTrial(one, "cushioned", "2", Asked(duration_s=FAULTY_S, hop_at=4)),
        PlannedTrial(one, "cushioned", "3", run, faults.plate_tilted("P1.Fx", "P1.Fz", 0.04)),
        PlannedTrial(one, "cushioned", "4", Asked(duration_s=1.3)),
        PlannedTrial(two, "cushioned", "standing", STANDING),
        PlannedTrial(two, "cushioned", "1", run, faults.frame_knocked("P1.Fz", 2600.0)),
        PlannedTrial(two, "cushioned", "2", run, faults.sides_exchanged("_L", "_R")),
        PlannedTrial(two, "cushioned", "3", run),
        PlannedTrial(slow, "cushioned", "standing", STANDING),
        PlannedTrial(slow, "cushioned", "1", Asked(duration_s=3.9, gait=SHUFFLE)),
    )
    return Delivery("brack", "brack-002.zip", "brack", 2, trials)


MENDED = Session("FS-05", "week_5", "corrie")
DOUBLED = Session("FS-08", "week_0", "corrie")
FORGOTTEN = Session("FS-09", "week_0", "corrie")


def _corrie_002_recordings() -> tuple[PlannedTrial, ...]:
    """Faults in recordings: nearly all trials of one runner."""
    own = Session("FS-04", "week_5", "corrie")
    back = Asked(backwards=True)
    exchanged = (("L.FOOT.2", "L.FOOT.5"),)
    return (
        PlannedTrial(own, "cushioned", "standing", STANDING),
        PlannedTrial(own, "cushioned", "1", fault=faults.marker_rate_halved),
        PlannedTrial(own, "cushioned", "2", back, faults.force_rate_halved),
        PlannedTrial(own, "cushioned", "3", fault=faults.label_missing("R.HIP.LAT")),
        PlannedTrial(own, "cushioned", "4", fault=faults.last_plate_left_out),
        PlannedTrial(own, "cushioned", "5", bytes_fault=faults.frame_count_wrong),
        PlannedTrial(own, "cushioned", "6", back, faults.plate_not_zeroed("P2.Fz", 30.0)),
        PlannedTrial(own, "cushioned", "7", bytes_fault=faults.cut_short),
        PlannedTrial(own, "thin_soled", "standing", STANDING),
        PlannedTrial(own, "thin_soled", "1", fault=faults.channels_scaled("P3", -1.0)),
        PlannedTrial(own, "thin_soled", "2", fault=faults.range_too_small("P2.Fz", 1300.0)),
        PlannedTrial(own, "thin_soled", "3", fault=faults.channels_scaled("P1.M", 5.0)),
        PlannedTrial(own, "thin_soled", "4", Asked(shift_m=0.6)),
        PlannedTrial(own, "thin_soled", "5", fault=faults.marker_hidden("L.ANK.LAT", 0.3, 0.3)),
        PlannedTrial(own, "thin_soled", "6", back, faults.reflection_taken_for("L.HIP.LAT", 0.6, 160.0)),
        PlannedTrial(own, "thin_soled", "7", Asked(speed_m_per_s=3.7)),
        PlannedTrial(own, "thin_soled", "8", back),
        PlannedTrial(own, "unshod", "standing", STANDING, faults.centimetres_called_millimetres),
        PlannedTrial(MENDED, "unshod", "standing", STANDING, faults.weight_shifted(120.0)),
        PlannedTrial(MENDED, "unshod", "1", fault=faults.labels_exchanged(exchanged, 0.45, 0.3)),
    )


def _corrie_002_tables() -> tuple[PlannedTrial, ...]:
    """Good recordings whose rows are at fault, or whose runner took the consent back."""
    heavier = Session("FS-06", "week_0", "corrie", mass_kg=71.8)
    withdrawn = Session("FS-07", "week_5", "corrie")
    return (
        PlannedTrial(MENDED, "cushioned", "standing", STANDING),
        PlannedTrial(MENDED, "cushioned", "1"),
        PlannedTrial(MENDED, "cushioned", "2"),
        PlannedTrial(MENDED, "thin_soled", "1"),
        PlannedTrial(MENDED, "thin_soled", "standing-2", STANDING),
        PlannedTrial(heavier, "cushioned", "standing", STANDING),
        PlannedTrial(heavier, "cushioned", "1"),
        PlannedTrial(withdrawn, "cushioned", "standing", STANDING),
        PlannedTrial(withdrawn, "cushioned", "1"),
        PlannedTrial(DOUBLED, "cushioned", "standing", STANDING),
        PlannedTrial(DOUBLED, "cushioned", "1"),
        PlannedTrial(FORGOTTEN, "cushioned", "standing", STANDING),
        PlannedTrial(FORGOTTEN, "cushioned", "1"),
    )


def _spoil_tables(rows: Rows) -> None:
    by_id = {row["trial_id"]: row for row in rows.trials}
    own = MENDED.session_id
    by_id[f"{own}-cushioned-2"]["trial_order"] = "third"
    by_id[f"{own}-thin_soled-standing-2"]["condition"] = "barefoot"
    doubled = next(row for row in rows.sessions if row["session_id"] == DOUBLED.session_id)
    rows.sessions.append({**doubled, "mass_kg": round(doubled["mass_kg"] + 1.6, 1)})
    rows.participants = [row for row in rows.participants if row["participant_id"] != FORGOTTEN.participant_id]
    heavier = next(row for row in rows.sessions if row["participant_id"] == "FS-06")
    assert heavier["mass_kg"] == 71.8


def _spoil_payload(files: dict[str, bytes]) -> None:
    del files[f"trials/{MENDED.session_id}-cushioned-1.c3d"]
    files["trials/take-without-name.txt"] = b"Invented: a stray file that no table names.\n"


def _corrie_002() -> Delivery:
    return Delivery(
        "corrie",
        "corrie-002.zip",
        "corrie",
        2,
        _corrie_002_recordings() + _corrie_002_tables(),
        withdrawn={"FS-07": 20},
        tables_fault=_spoil_tables,
        payload_fault=_spoil_payload,
    )


def _corrie_003() -> Delivery:
    """Two trials that corrie-002 had returned, mended, under the same ids."""
    trials = (
        PlannedTrial(MENDED, "unshod", "standing", STANDING),
        PlannedTrial(MENDED, "unshod", "1"),
    )
    return Delivery("corrie", "corrie-003.zip", "corrie", 3, trials)


def _tiny(site: str) -> tuple[PlannedTrial, ...]:
    """The one small recording of a delivery that does not get as far as its recordings."""
    session = Session("FS-04" if site == "corrie" else "FS-01", "week_10", site)
    return (PlannedTrial(session, "unshod", "standing", Asked("standing", duration_s=0.2)),)


def _change_a_byte(folder: Path) -> None:
    """On the way from the laboratory one digit of a mass changed."""
    sessions = folder / "data" / "sessions.csv"
    content = sessions.read_bytes()
    assert content.count(b",58.4,") == 1
    sessions.write_bytes(content.replace(b",58.4,", b",53.4,"))


def _drop_a_column(files: dict[str, bytes]) -> None:
    lines = [line.split(b",") for line in files["sessions.csv"].splitlines()]
    lost = lines[0].index(b"mass_kg")
    files["sessions.csv"] = b"".join(b",".join(c for i, c in enumerate(x) if i != lost) + b"\n" for x in lines)


def _stopped() -> tuple[Delivery, ...]:
    """Deliveries that cannot be taken in, one for each reason."""
    outside = {"../../escaped.txt": b"Invented: a member that would be written outside the delivery's folder.\n"}
    return (
        Delivery("brack", "brack-003", "brack", 3, _tiny("brack"), tamper=_change_a_byte),
        Delivery("brack", "from-the-other-lab", "corrie", 9, _tiny("brack")),
        Delivery("corrie", "corrie-004.zip", "corrie", 4, _tiny("corrie"), more=outside),
        Delivery("corrie", "corrie-005.zip", "corrie", 5, _tiny("corrie"), payload_fault=_drop_a_column),
        Delivery("corrie", "without-number.zip", "corrie", None, _tiny("corrie")),
    )


def deliveries() -> tuple[Delivery, ...]:
    """All demonstration deliveries."""
    return (_brack_001(), _corrie_001(), _brack_002(), _corrie_002(), _corrie_003(), *_stopped())
