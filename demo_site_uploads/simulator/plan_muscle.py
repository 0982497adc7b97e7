"""Faults in muscles, foot sensors and clocks: one session of the laboratory whose second file has all three."""

from __future__ import annotations

from demo_site_uploads.simulator import faults_muscle as faults
from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.measure import Asked
from demo_site_uploads.simulator.tables import Row

SESSION = Session("FS-13", "week_10", "tarn")
UNUSED_SWITCH = "FOOT L2"
OTHER = {"left": "right", "right": "left"}


def _exchanged_muscles(rows: list[Row]) -> list[Row]:
    """Calf and shin of the left leg change places, the soleus' sides too; one more footswitch was recorded."""
    shin, calf = "tibialis_anterior", "gastrocnemius_medialis"
    turned = {
        "EMG GM L": {"muscle": shin},
        "EMG TA L": {"muscle": calf},
        "EMG SOL L": {"side": "right"},
        "EMG SOL R": {"side": "left"},
    }
    own = [row | turned.get(str(row["label"]), {}) for row in rows]
    second = next(row for row in rows if row["label"] == "FOOT L")
    return [*own, second | {"label": UNUSED_SWITCH}]


def _sensors_in_the_wrong_shoes(rows: list[Row]) -> list[Row]:
    """The sides of all foot sensors are exchanged, and one muscle's gain is stated that was taken off already."""
    turned = [r | {"side": OTHER[str(r["side"])]} if r["role"] == "foot_sensor" else r for r in rows]
    return [r | {"amplifier_gain": "1000"} if r["label"] == "EMG GM L" else r for r in turned]


LABELS = PlannedTrial(SESSION, "cushioned", "1", channels_fault=_exchanged_muscles)
CHANNELS = PlannedTrial(SESSION, "cushioned", "2", channels_fault=_sensors_in_the_wrong_shoes)

IN_LABELS = {
    "EMG GM L": (faults.humming(9.0),),
    "EMG TA L": (faults.with_spikes(2500.0, 2), faults.moved(1200.0, "left")),
    "EMG SOL L": (faults.packets_lost(0.024, 5),),
    "EMG SOL R": (faults.coarse(25.0),),
    "FOOT L": (faults.late(0.022, 0.008),),
    UNUSED_SWITCH: (),
}
IN_CHANNELS = {
    "EMG GM L": (faults.low_passed(150.0),),
    "EMG SOL L": (faults.with_heartbeats(80.0, 132.0),),
    "EMG TA L": (faults.block_twice(0.1, 0.5),),
    "EMG GM R": (faults.noisy(45.0),),
    "EMG SOL R": (faults.noisy(15.0), faults.thinned_out(960.0), faults.rectified),
    "EMG TA R": (faults.lead_off(),),
    "FOOT L": (faults.contact_missed("left", 2),),
    "FOOT R": (faults.polled(112.0),),
}


def _second_files(files: dict[str, bytes]) -> None:
    """The second files as the recorder wrote them."""
    trial = LABELS.simulated()
    copied = {"EMG GM R": "EMG TA R"}
    files[str(LABELS.sidecar)] = faults.second_file(trial, IN_LABELS, drift_ppm=450.0, ends_early_s=0.3, copies=copied)
    files[str(CHANNELS.sidecar)] = faults.second_file(CHANNELS.simulated(), IN_CHANNELS)


def deliveries() -> tuple[Delivery, ...]:
    """One delivery: a standing trial, one with exchanged labels, one with spoilt channels."""
    standing = PlannedTrial(SESSION, "cushioned", "standing", Asked(kind="standing"))
    trials = (standing, LABELS, CHANNELS)
    return (Delivery("tarn", "tarn-012.zip", "tarn", 12, trials, payload_fault=_second_files),)
