"""Published equations from breathing gas to metabolic power. When they may be used is the matter of ``energy``.

Common form: power = a x oxygen uptake + b x carbon dioxide output, with a and b in kJ per litre of gas at standard
temperature and pressure, dry. No protein term: urinary nitrogen is not collected. At a respiratory exchange ratio of
0.90 the first equation gives 2.9 % more than the other two, so the name travels with every value.
"""

from __future__ import annotations

from dataclasses import dataclass

from schemas.processing import EnergyEquation

_KJ_PER_KCAL = 4.184  # thermochemical calorie


@dataclass(frozen=True)
class Coefficients:
    """kJ for each litre of oxygen taken up and of carbon dioxide put out, and where they are published."""

    oxygen_kj_per_l: float
    carbon_dioxide_kj_per_l: float
    source: str


EQUATIONS: dict[EnergyEquation, Coefficients] = {
    "peronnet_massicotte_1991": Coefficients(
        16.89,
        4.84,
        "Peronnet & Massicotte 1991, Can J Sport Sci 16:23-29, in the linear form used by Kipp et al. 2018, "
        "Appl Physiol Nutr Metab 43:639",
    ),
    "brockway_1987": Coefficients(16.58, 4.51, "Brockway 1987, Hum Nutr Clin Nutr 41C:463-471"),
    # published per minute in kcal and litres; the daily form of the same paper takes mL/min and is 1000 times off here
    "weir_1949": Coefficients(3.941 * _KJ_PER_KCAL, 1.106 * _KJ_PER_KCAL, "Weir 1949, J Physiol 109:1-9"),
}


def metabolic_power_w(
    oxygen_ml_per_min: float, carbon_dioxide_ml_per_min: float, equation: EnergyEquation = "peronnet_massicotte_1991"
) -> float:
    """Gross metabolic power in W (rest is not subtracted) from both gases in mL/min."""
    chosen = EQUATIONS[equation]
    # kJ/L x mL/min is J/min
    return (
        chosen.oxygen_kj_per_l * oxygen_ml_per_min + chosen.carbon_dioxide_kj_per_l * carbon_dioxide_ml_per_min
    ) / 60
