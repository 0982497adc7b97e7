"""Which fault stands where: deliveries with faults in single trials, in tables, in consent, and those that cannot be
taken in. Where muscles are not the point their amplifier is off, which keeps the files small.
"""

from __future__ import annotations

from pathlib import Path

from demo_site_uploads.simulator import edf_edit, faults
from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.measure import Asked
from demo_site_uploads.simulator.runner import Gait
from demo_site_uploads.simulator.tables import Row, Rows

STANDING = Asked(kind="standing")
SHUFFLE = Gait(0.485, 0.055, 0.045, 0.6, 5.0, 0.2, 0.12, 0.028)  # feet hardly leave the belt
FAULTY_S = 2.3  # long enough for six footfalls
OFF = Asked(muscles=False)
SIDE_FORGOTTEN = "R.EMG.TA"


def _switch_renamed(rows: list[Row]) -> list[Row]:
    """The left footswitch got another label in the recording program."""
    return [row | {"label": "left switch"} if row["label"] == "switch_L" else row for row in rows]


def _millivolts_stated(rows: list[Row]) -> list[Row]:
    """Microvolts were exported, and the table says millivolts."""
    """Of all muscles; and of one the side was forgotten."""
    own = [row | {"unit_code": "mV"} if row["role"] == "muscle" else row for row in rows]
    return [row | {"side": None} if row["label"] == SIDE_FORGOTTEN else row for row in own]


def _brack_002() -> Delivery:
    one, two = Session("FS-01", "week_5", "brack"), Session("FS-02", "week_5", "brack")
    slow = Session("FS-06", "week_0", "brack", speed_m_per_s=1.8)
    run = Asked(duration_s=FAULTY_S, muscles=False)
    trials = (
        PlannedTrial(one, "cushioned", "standing", STANDING),
        PlannedTrial(one, "cushioned", "1", run, faults.channels_scaled("P1", 1.18)),
        PlannedTrial(one, "cushioned", "2", Asked(duration_s=FAULTY_S + 0.1, hop_at=4, muscles=False)),
        PlannedTrial(one, "cushioned", "3", run, faults.plate_tilted("P1.Fx", "P1.Fz", 0.04)),
        PlannedTrial(one, "cushioned", "4", Asked(duration_s=1.3, muscles=False)),
        PlannedTrial(two, "cushioned", "standing", STANDING),
        PlannedTrial(two, "cushioned", "1", run, faults.frame_knocked("P1.Fz", 2600.0)),
        PlannedTrial(two, "cushioned", "2", run, faults.sides_exchanged("_L", "_R")),
        PlannedTrial(two, "cushioned", "3", run, channels_fault=_switch_renamed),
        PlannedTrial(two, "thin_soled", "standing", STANDING),
        PlannedTrial(two, "unshod", "standing", STANDING, bytes_fault=faults.name_in_the_note),
        PlannedTrial(slow, "cushioned", "standing", STANDING),
        PlannedTrial(slow, "cushioned", "1", Asked(duration_s=3.9, gait=SHUFFLE, muscles=False)),
    )
    return Delivery("brack", "brack-002.zip", "brack", 2, trials, tables_fault=_name_in_a_comment)


def _name_in_a_comment(rows: Rows) -> None:
    """An invented name in the free text of one trial."""
    told = next(row for row in rows.trials if row["trial_id"] == "FS-02-w5-brack-thin_soled-standing")
    told["comment"] = "Runner: Nora Fellsider, late"


MENDED = Session("FS-05", "week_5", "corrie")
DOUBLED = Session("FS-08", "week_0", "corrie")
FORGOTTEN = Session("FS-09", "week_0", "corrie")
TARN = Session("FS-14", "week_5", "tarn")


def _corrie_002_recordings() -> tuple[PlannedTrial, ...]:
    """Faults in recordings: nearly all trials of one runner."""
    own = Session("FS-04", "week_5", "corrie")
    back = Asked(backwards=True, muscles=False)
    exchanged = (("toe2-left", "toe5-left"),)
    return (
        PlannedTrial(own, "cushioned", "standing", STANDING),
        PlannedTrial(own, "cushioned", "1", OFF, fault=faults.marker_rate_halved),
        PlannedTrial(own, "cushioned", "2", back, faults.force_rate_halved),
        PlannedTrial(own, "cushioned", "3", OFF, fault=faults.label_missing("hip-right")),
        PlannedTrial(own, "cushioned", "4", OFF, bytes_fault=faults.plate_not_counted),
        PlannedTrial(own, "cushioned", "5", bytes_fault=faults.frame_count_wrong),
        PlannedTrial(
            own, "cushioned", "6", back, faults.plate_not_zeroed("P2.Fz", 30.0), bytes_fault=faults.scale_copied_wrongly
        ),
        PlannedTrial(own, "cushioned", "7", OFF, bytes_fault=faults.cut_short),
        PlannedTrial(own, "thin_soled", "standing", STANDING),
        PlannedTrial(own, "thin_soled", "1", OFF, fault=faults.channels_scaled("P3", -1.0)),
        PlannedTrial(own, "thin_soled", "2", OFF, fault=faults.range_too_small("P2.Fz", 1300.0)),
        PlannedTrial(own, "thin_soled", "3", OFF, fault=faults.channels_scaled("P1.M", 5.0)),
        PlannedTrial(own, "thin_soled", "4", Asked(shift_m=0.6, muscles=False)),
        PlannedTrial(own, "thin_soled", "5", OFF, fault=faults.marker_hidden("ankle-left", 0.3, 0.3)),
        PlannedTrial(own, "thin_soled", "6", back, faults.reflection_taken_for("hip-left", 0.6, 160.0)),
        PlannedTrial(own, "thin_soled", "7", Asked(speed_m_per_s=3.7, muscles=False)),
        PlannedTrial(
            own,
            "thin_soled",
            "8",
            Asked(backwards=True),
            faults.transmitters_late(".EMG.", 0.17),
            channels_fault=_millivolts_stated,
        ),
        PlannedTrial(own, "unshod", "standing", STANDING, faults.centimetres_called_millimetres),
        PlannedTrial(MENDED, "unshod", "standing", STANDING, faults.weight_shifted(120.0)),
        PlannedTrial(MENDED, "unshod", "1", OFF, fault=faults.labels_exchanged(exchanged, 0.45, 0.3)),
    )


def _corrie_002_tables() -> tuple[PlannedTrial, ...]:
    """Good recordings whose rows are at fault, or whose runner took the consent back."""
    heavier = Session("FS-06", "week_0", "corrie", mass_kg=71.8)
    withdrawn = Session("FS-07", "week_5", "corrie")
    return (
        PlannedTrial(MENDED, "cushioned", "standing", STANDING),
        PlannedTrial(MENDED, "cushioned", "1", OFF),
        PlannedTrial(MENDED, "cushioned", "2", OFF),
        PlannedTrial(MENDED, "thin_soled", "1", OFF),
        PlannedTrial(MENDED, "thin_soled", "standing-2", STANDING),
        PlannedTrial(heavier, "cushioned", "standing", STANDING),
        PlannedTrial(withdrawn, "cushioned", "standing", STANDING),
        PlannedTrial(withdrawn, "cushioned", "1", OFF),
        PlannedTrial(DOUBLED, "cushioned", "standing", STANDING),
        PlannedTrial(FORGOTTEN, "cushioned", "standing", STANDING),
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
        PlannedTrial(MENDED, "unshod", "1", OFF),
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


def _right_side_forgotten(rows: list[Row]) -> list[Row]:
    return [row for row in rows if row["side"] != "right"]


def _lose_a_record(files: dict[str, bytes]) -> None:
    """The recorder's radio link was lost for a tenth of a second."""
    path = f"trials/{TARN.session_id}-cushioned-2.edf"
    files[path] = edf_edit.without_record(files[path], 15)


def _signals() -> tuple[Delivery, ...]:
    """Faults in muscles, clocks, speed and breathing gas, and a plate that drifts; one small delivery a laboratory."""
    one, two, three = Session("FS-16", "week_0", "brack"), Session("FS-15", "week_5", "corrie"), TARN
    brack = (
        PlannedTrial(one, "cushioned", "standing", STANDING),
        PlannedTrial(one, "cushioned", "1", fault=faults.amplifier_saturated("emg_soleus_L", 0.25)),
        PlannedTrial(one, "cushioned", "2", Asked(speed_m_per_s=2.5, muscles=False)),
    )
    corrie = (
        PlannedTrial(two, "cushioned", "standing", STANDING),
        PlannedTrial(two, "cushioned", "1", OFF, faults.plate_warming_up("P1.Fz", 45.0)),
        PlannedTrial(two, "cushioned", "2", channels_fault=_right_side_forgotten),
    )
    tarn = (
        PlannedTrial(three, "cushioned", "standing", STANDING),
        PlannedTrial(three, "cushioned", "1"),
        PlannedTrial(
            three,
            "cushioned",
            "2",
            fault=faults.together(
                faults.labelled_twice("leftKnee", 0.02),
                faults.zeros_for_gaps(("rightKnee", "rightAnkle"), 0.5, 0.05),
            ),
            sidecar_of="1",
        ),
    )
    bouts = (
        one.bout("cushioned", "not_steady"),
        one.bout("thin_soled", "too_hard"),
        one.bout("unshod", "sensor_off"),
    )
    return (
        Delivery("brack", "brack-005.zip", "brack", 5, brack, bouts=bouts),
        Delivery("corrie", "corrie-007.zip", "corrie", 7, corrie),
        Delivery("tarn", "tarn-003.zip", "tarn", 3, tarn, payload_fault=_lose_a_record),
    )


def faulty_deliveries() -> tuple[Delivery, ...]:
    """All deliveries in which something was planted, and the one that mends some of it."""
    return (_brack_002(), _corrie_002(), _corrie_003(), *_signals(), *_stopped())
