"""The delivery whose force plates are at fault: two passes over the runway, each plate with faults of its own.

Sizes that matter: crosstalk from 2 % (32 N of a 1600 N peak passes the 20 N contact threshold); ringing and noise that
reach that threshold; a spike from 100 N (twice what force rises in a millisecond at landing); a repeated packet of any
length; small forces cut at the threshold itself; a low-pass below the range of the impact peak; a centre of pressure
off by half a foot's width; a delay of two marker frames of a slow camera (30 ms); a few centimetres of foot beside the
plate, which cost a sixth of the force. Polarity and exchanged channels have no size.
"""

from __future__ import annotations

from demo_site_uploads.simulator import faults_force as force
from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.faults import channels_scaled
from demo_site_uploads.simulator.measure import Asked

PASS = Asked(duration_s=1.12, muscles=False)


def deliveries() -> tuple[Delivery, ...]:
    """One delivery of the runway laboratory."""
    own = Session("FS-15", "week_10", "corrie")
    signals = force.several(
        force.plate_rings("P1.", 45.0),
        force.crosstalk("P3.", "P1.", 0.04),
        force.spike("P1.Fz", 0.24, 400.0),
        force.cable_wet("P2.", 12.0),
        force.packet_repeated("P2.", 0.58, 0.02),
        force.small_forces_cut("P3.", 20.0),
    )
    directions = force.several(
        force.ran_aside("corrie", 0.225),
        channels_scaled("P1.Fx", -5.0),
        channels_scaled("P1.Fy", 5.0),
        channels_scaled("P1.Mz", 5.0),
        channels_scaled("P2.My", -1.0),
        force.channels_exchanged(("P3.Fx12", "P3.Fy14"), ("P3.Fx34", "P3.Fy23")),
        force.corners_off(3, (-100.0, 0.0, 0.0)),
        force.filtered_before(45.0),
        force.converter_late(0.044),
    )
    trials = (
        PlannedTrial(own, "unshod", "standing", Asked("standing", duration_s=0.1)),
        PlannedTrial(own, "unshod", "force-1", PASS, signals),
        PlannedTrial(own, "unshod", "force-2", PASS, directions),
    )
    return (Delivery("corrie", "corrie-010.zip", "corrie", 10, trials),)
