"""Force-plate formulas against the formula sheet of a plate (isbweb.org) and first principles."""

import numpy as np
import pytest

from pipelines.intake.c3d.platforms import PlateSpec
from pipelines.intake.plates import channels_to_plate
from schemas.mechanics import centre_of_pressure, free_moment
from tests.published.values import rows


def from_plate(vectors):
    """Plate axes as in these files (z up, right-handed) to study axes (Y up): X = x, Y = z, Z = -y."""
    vectors = np.atleast_2d(vectors)
    return np.column_stack([vectors[:, 0], vectors[:, 2], -vectors[:, 1]])


@pytest.mark.parametrize("row", rows("forceplate_cop_synthetic"), ids=lambda r: f"case_{r['case']}")
def test_the_synthetic_cases_come_back_to_a_tenth_of_a_millimetre(row):
    force = [float(row[k]) for k in ("Fx_N", "Fy_N", "Fz_N")]
    moment = [float(row[k]) for k in ("Mx_Nm", "My_Nm", "Mz_Nm")]
    height = float(row["z0_m"])
    cop = centre_of_pressure(from_plate(force), from_plate(moment), height, 20.0)
    turning = free_moment(from_plate(force), from_plate(moment), cop)
    if "masked" in row["note"]:
        assert np.isnan(cop).all()
        assert np.isnan(turning).all()
        return
    expected = [float(row["copx_m_expected"]), height, -float(row["copy_m_expected"])]
    np.testing.assert_allclose(cop[0], expected, atol=1e-4)
    assert turning[0] == pytest.approx(float(row["Tz_Nm_expected"]), abs=1e-4)


#: mV/N of the eight channels, from the head of the file
SENSITIVITIES = np.array([38.117, 37.723, 38.062, 38.008, 3.898, 3.889, 3.885, 3.891])


@pytest.mark.parametrize("row", rows("forceplate_8ch_rows"), ids=lambda r: f"row_{r['row']}")
def test_the_eight_channel_plate_of_quiet_standing(row):
    volts = [float(row[k]) for k in ("fx12_V", "fx34_V", "fy14_V", "fy23_V", "fz1_V", "fz2_V", "fz3_V", "fz4_V")]
    raw = (1000 * np.array(volts) / SENSITIVITIES)[None]
    spec = PlateSpec(1, 3, np.zeros((4, 3)), np.array([0.120, 0.200, -0.048]), tuple(range(8)), None, (0, 0))
    wrench = channels_to_plate(raw, spec, 1.0, 1.0)
    expected = [float(row[k]) for k in ("Fx_N", "Fy_N", "Fz_N", "Mx_top_Nm", "My_top_Nm", "Mz_Nm")]
    np.testing.assert_allclose(wrench[0], expected, atol=1e-3)
    cop = centre_of_pressure(from_plate(wrench[:, :3]), from_plate(wrench[:, 3:]), 0.0, 20.0)
    np.testing.assert_allclose([cop[0, 0], -cop[0, 2]], [float(row["copx_m"]), float(row["copy_m"])], atol=1e-6)
    turning = free_moment(from_plate(wrench[:, :3]), from_plate(wrench[:, 3:]), cop)
    assert turning[0] == pytest.approx(float(row["Tz_Nm"]), abs=1e-4)
