"""Lungs and blood: from the air that is breathed in to the saturation of arterial blood.

Two stores of oxygen, the lungs' air and the venous blood with the tissue behind it:

    V_L/863·dP_A/dt = V_A·(P_I - P_A)/863 - Q·(C_a - C_v)      (L/min, mmHg)
    V_b·dC_v/dt     = Q·(C_a - C_v) - VO2

863 joins gas at body conditions with gas at 0 °C (863 = 760·310/273, physiology
textbooks). Breathing is as much as keeps alveolar CO2 at 40 mmHg, times `ventilation`.
There is no drive that answers to CO2 or to want of oxygen, and no shift of the curve:
saturation falls somewhat sooner here than in a person who breathes harder.
"""

from linetender.airline.hood import RESPIRATORY_QUOTIENT

PA_PER_MMHG = 133.322
WATER_MMHG = 47.0
"""Water vapour at 37 °C (physiology textbooks, from memory)."""

ALVEOLAR_CO2_MMHG = 40.0
"""Usual CO2 pressure in the lungs (physiology textbooks, from memory)."""

MMHG_L_PER_L = 863.0

LUNG_L = 2.5
"""Air in the lungs at the end of a breath out (textbook value for adults)."""

BLOOD_L = 3.0
"""Venous blood that an uptake is drawn from (chosen: the common step responses follow)."""

HAEMOGLOBIN_O2 = 0.201
"""Oxygen that a litre of blood binds (L/L): 150 g/L times 1.34 mL/g (textbook)."""

DISSOLVED_O2_PER_MMHG = 3.1e-5
"""Oxygen dissolved in blood (L/L per mmHg; textbook)."""

RESTING_OUTPUT_L_MIN = 5.0
OUTPUT_PER_UPTAKE = 6.0
"""Cardiac output rises by some 6 L for each litre of oxygen (physiology textbooks, from memory)."""


def saturation(oxygen_mmhg: float) -> float:
    """Return the saturation of haemoglobin (0 to 1) at an oxygen pressure (mmHg).

    Source:
        Severinghaus, J Appl Physiol 46 (1979) 599: 37 °C, pH 7.4, fits within 0.0055.
    """
    if oxygen_mmhg <= 0.0:
        return 0.0
    cubic = oxygen_mmhg * oxygen_mmhg * oxygen_mmhg + 150.0 * oxygen_mmhg
    return 1.0 / (23_400.0 / cubic + 1.0)


def content(oxygen_mmhg: float) -> float:
    """Return the oxygen in blood (L/L) at an oxygen pressure (mmHg, >= 0)."""
    return HAEMOGLOBIN_O2 * saturation(oxygen_mmhg) + DISSOLVED_O2_PER_MMHG * oxygen_mmhg


class Blood:
    """The stores of one person, settled in good air at the beginning.

    Args:
        ambient_pressure_pa: Air pressure of the place (Pa).
        o2_fraction: Oxygen in what was breathed before.
        uptake_l_min: Oxygen uptake then (L/min).

    Attributes:
        alveolar_mmhg: Oxygen pressure in the lungs; the artery's is taken as the same.
        venous: Oxygen in venous blood (L/L).
    """

    def __init__(self, ambient_pressure_pa: float, o2_fraction: float, uptake_l_min: float) -> None:
        self._dry_mmhg = ambient_pressure_pa / PA_PER_MMHG - WATER_MMHG
        breathing = breathing_l_min(uptake_l_min)
        drop = MMHG_L_PER_L * uptake_l_min / breathing
        self.alveolar_mmhg = o2_fraction * self._dry_mmhg - drop
        self.venous = content(self.alveolar_mmhg) - uptake_l_min / output_l_min(uptake_l_min)

    @property
    def saturation(self) -> float:
        """Saturation of arterial blood as it leaves the lungs (0 to 1)."""
        return saturation(self.alveolar_mmhg)

    def step(
        self, seconds: float, o2_fraction: float, uptake_l_min: float, ventilation: float
    ) -> None:
        """Live for a short time.

        Args:
            seconds: How long (s; a tenth is short enough).
            o2_fraction: Oxygen in what is breathed in (0 to 1).
            uptake_l_min: Oxygen uptake of the body (L/min).
            ventilation: Breathing over what the uptake asks for (1).
        """
        minutes = seconds / 60.0
        flow = output_l_min(uptake_l_min)
        taken = flow * (content(self.alveolar_mmhg) - self.venous)
        breathing = breathing_l_min(uptake_l_min) * ventilation
        brought = breathing * (o2_fraction * self._dry_mmhg - self.alveolar_mmhg)
        self.alveolar_mmhg += minutes * (brought - MMHG_L_PER_L * taken) / LUNG_L
        self.alveolar_mmhg = max(self.alveolar_mmhg, 0.0)
        self.venous = max(0.0, self.venous + minutes * (taken - uptake_l_min) / BLOOD_L)


def breathing_l_min(uptake_l_min: float) -> float:
    """Return the alveolar ventilation (L/min) that keeps CO2 at 40 mmHg."""
    return MMHG_L_PER_L * RESPIRATORY_QUOTIENT * uptake_l_min / ALVEOLAR_CO2_MMHG


def output_l_min(uptake_l_min: float) -> float:
    """Return the blood that the heart moves (L/min) at an oxygen uptake (L/min)."""
    return RESTING_OUTPUT_L_MIN + OUTPUT_PER_UPTAKE * uptake_l_min
