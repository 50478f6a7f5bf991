"""Square-edged orifice plate in a round pipe: ISO 5167-2."""

import enum
import math
from dataclasses import dataclass

from linetender.airline.air_state import AirState
from linetender.airline.flow_element import Contribution, Flag, FlagKind, Source
from linetender.airline.friction_factor import reynolds
from linetender.airline.quantity_checks import require_finite, require_not_negative
from linetender.airline.trade_units import M3_S_PER_L_MIN

ISENTROPIC_EXPONENT = 1.4
"""κ of air (1)."""

LARGEST_PRESSURE_PART = 0.25
"""Δp/p1 up to which ISO 5167-2 states the expansibility (5.3.2.2)."""

SMALL_PIPE_MM = 71.12
"""Pipes below this (2.8 inches) have a term of their own, and more uncertainty."""

INSTALLATION_RELATIVE = 0.02
"""Standard uncertainty of a home-built plate over the standard's (chosen).

For edges not quite sharp, taps not quite square, straight pipe shorter than demanded.
"""

_NO_FLOW_RE = 1e-6
"""Below this Reynolds number there is no flow worth a name, and formulas run out of digits."""

_STEPS = 200


class Taps(enum.Enum):
    """Where the pressures are taken; the values are L1 and L'2 of the standard (1)."""

    CORNER = (0.0, 0.0)
    D_AND_HALF_D = (1.0, 0.47)


@dataclass(frozen=True, slots=True)
class Orifice:
    """An orifice plate.

    Attributes:
        pipe_mm: Inside diameter D of the pipe (mm).
        bore_mm: Diameter d of the bore (mm, below D).
        taps: Where the pressures are taken.
        pipe_uncertainty_mm: Standard uncertainty of D (mm; default chosen).
        bore_uncertainty_mm: Standard uncertainty of d (mm; default chosen).
        installation_relative: Standard uncertainty of the flow for all that the
            standard asks of plate and pipe and a home-built line may miss (1).

    Raises:
        ValueError: A size is not above 0, or the bore is not smaller than the pipe.

    Source:
        ISO 5167-2:2003, 5.3.
    """

    pipe_mm: float
    bore_mm: float
    taps: Taps = Taps.CORNER
    pipe_uncertainty_mm: float = 0.5
    bore_uncertainty_mm: float = 0.1
    installation_relative: float = INSTALLATION_RELATIVE

    def __post_init__(self) -> None:
        if not 0.0 < self.bore_mm < self.pipe_mm < math.inf:
            raise ValueError(f"bore {self.bore_mm} mm is not between 0 and pipe {self.pipe_mm} mm")
        require_not_negative("pipe uncertainty", self.pipe_uncertainty_mm, "mm")
        require_not_negative("bore uncertainty", self.bore_uncertainty_mm, "mm")
        require_not_negative("installation uncertainty", self.installation_relative, "of flow")

    @property
    def diameter_ratio(self) -> float:
        """β = d/D (1)."""
        return self.bore_mm / self.pipe_mm

    @property
    def least_reynolds(self) -> float:
        """Re_D from which the standard holds: 5000, above β 0.56 16 000·β² (5.3.1)."""
        beta = self.diameter_ratio
        return 5000.0 if beta <= 0.56 else 16_000.0 * beta * beta

    def airflow_l_min(self, differential_pa: float, air: AirState) -> float:
        """Return the actual airflow (L/min, >= 0) upstream of the plate.

        Args:
            differential_pa: Pressure before less pressure behind the plate (Pa).
            air: Air upstream of the plate.

        Raises:
            ValueError: The pressure is not finite, or above a quarter of the air's.
        """
        require_finite("pressure", differential_pa, "Pa")
        if differential_pa <= 0.0:
            return 0.0
        ideal = self._ideal_l_min(differential_pa, air)
        full = ideal * expansibility(self.diameter_ratio, differential_pa, air.pressure_pa)
        # Re = Re(full)·C(Re), solved in log Re. C falls with Re, at most as 1/Re, so
        # that the slope lies between 1 and 2.1 and steps of 1/1.5 close in.
        log_full = math.log(reynolds(full, self.pipe_mm, air))
        log_re = log_full + math.log(0.6)
        for _ in range(_STEPS):
            miss = log_re - log_full - math.log(self.coefficient(math.exp(log_re)))
            log_re -= miss / 1.5
            if abs(miss) < 1e-14:
                break
        return full * self.coefficient(math.exp(log_re))

    def differential_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the pressure (Pa, >= 0) at an airflow (L/min); 0 for no flow.

        Raises:
            ValueError: The airflow is not finite, or needs over a quarter of the air's
                pressure.
        """
        require_finite("airflow", airflow_l_min, "L/min")
        number = reynolds(airflow_l_min, self.pipe_mm, air)
        if number < _NO_FLOW_RE:
            return 0.0
        coefficient = self.coefficient(number)
        unexpanded = (airflow_l_min / coefficient / self._ideal_l_min(1.0, air)) ** 2
        found = unexpanded
        for _ in range(_STEPS):
            before = found
            factor = expansibility(self.diameter_ratio, before, air.pressure_pa)
            found = unexpanded / factor**2
            if abs(found - before) <= 1e-15 * found:
                break
        return found

    def coefficient(self, reynolds_number: float) -> float:
        """Return the discharge coefficient C (1) at a pipe Reynolds number (1, > 0).

        Source:
            ISO 5167-2:2003, 5.3.2.1, equation 4 (Reader-Harris and Gallagher).
        """
        beta = self.diameter_ratio
        before, behind = self.taps.value
        small = (19_000.0 * beta / reynolds_number) ** 0.8
        dam = 2.0 * behind / (1.0 - beta)
        upstream = 0.043 + 0.080 * math.exp(-10.0 * before) - 0.123 * math.exp(-7.0 * before)
        coefficient: float = (
            0.5961
            + 0.0261 * beta**2
            - 0.216 * beta**8
            + 0.000521 * (1e6 * beta / reynolds_number) ** 0.7
            + (0.0188 + 0.0063 * small) * beta**3.5 * (1e6 / reynolds_number) ** 0.3
            + upstream * (1.0 - 0.11 * small) * beta**4 / (1.0 - beta**4)
            - 0.031 * (dam - 0.8 * dam**1.1) * beta**1.3
        )
        if self.pipe_mm < SMALL_PIPE_MM:
            coefficient += 0.011 * (0.75 - beta) * (2.8 - self.pipe_mm / 25.4)
        return coefficient

    def permanent_loss_pa(self, differential_pa: float, air: AirState) -> float:
        """Return the part of the pressure (Pa) that is not recovered behind the plate.

        Source:
            ISO 5167-2:2003, 5.4, equation 7.
        """
        airflow = self.airflow_l_min(differential_pa, air)
        if airflow == 0.0:
            return 0.0
        beta2 = self.diameter_ratio**2
        coefficient = self.coefficient(reynolds(airflow, self.pipe_mm, air))
        root = math.sqrt(1.0 - beta2**2 * (1.0 - coefficient**2))
        jet = coefficient * beta2
        return differential_pa * (root - jet) / (root + jet)

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        """Return the limits of ISO 5167-2, 5.3.1, that an airflow (L/min) lies outside."""
        flags = []
        beta, number = self.diameter_ratio, reynolds(airflow_l_min, self.pipe_mm, air)
        if not 50.0 <= self.pipe_mm <= 1000.0:
            text = f"pipe {self.pipe_mm:g} mm is outside 50 to 1000 mm"
            flags.append(Flag(FlagKind.PIPE_DIAMETER, text))
        if self.bore_mm < 12.5:
            flags.append(Flag(FlagKind.BORE, f"bore {self.bore_mm:g} mm is under 12.5 mm"))
        if not 0.10 <= beta <= 0.75:
            text = f"diameter ratio {beta:.3f} is outside 0.10 to 0.75"
            flags.append(Flag(FlagKind.DIAMETER_RATIO, text))
        if number < self.least_reynolds:
            text = (
                f"Reynolds number {number:.0f} is under {self.least_reynolds:.0f}: the coefficient "
                "is extrapolated, published continuations lie up to "
                f"{100.0 * self._extrapolation_relative(number):.1f} % apart, so calibrate in place"
            )
            flags.append(Flag(FlagKind.REYNOLDS, text))
        return tuple(flags)

    def own_contributions(self, airflow_l_min: float, air: AirState) -> tuple[Contribution, ...]:
        """Return coefficient, dimensions, installation and extrapolation (L/min, standard)."""
        number = reynolds(airflow_l_min, self.pipe_mm, air)
        relative = {
            Source.COEFFICIENT: self._coefficient_percent(number) / 2.0 / 100.0,
            Source.DIMENSIONS: self._dimensions_relative(),
            Source.INSTALLATION: self.installation_relative,
            Source.EXTRAPOLATION: self._extrapolation_relative(number) / math.sqrt(3.0),
        }
        return tuple(Contribution(source, airflow_l_min * u) for source, u in relative.items())

    def _ideal_l_min(self, differential_pa: float, air: AirState) -> float:
        """Airflow with a coefficient and an expansibility of 1 (L/min)."""
        speed = math.sqrt(2.0 * differential_pa / air.density_kg_m3)
        bore_m2 = math.pi / 4.0 * (self.bore_mm * 1e-3) ** 2
        return bore_m2 * speed / math.sqrt(1.0 - self.diameter_ratio**4) / M3_S_PER_L_MIN

    def _coefficient_percent(self, reynolds_number: float) -> float:
        """Expanded (95 %) uncertainty of C in percent: ISO 5167-2:2003, 5.3.3.1."""
        beta = self.diameter_ratio
        if beta < 0.2:
            percent = 0.7 - beta
        elif beta <= 0.6:
            percent = 0.5
        else:
            percent = 1.667 * beta - 0.5
        if self.pipe_mm < SMALL_PIPE_MM:
            percent += max(0.0, 0.9 * (0.75 - beta) * (2.8 - self.pipe_mm / 25.4))
        if beta > 0.5 and reynolds_number < 10_000.0:
            percent += 0.5
        return percent

    def _dimensions_relative(self) -> float:
        """Standard uncertainty of the flow from D and d: ISO 5167-1:2003, 8.2.2.1."""
        beta4 = self.diameter_ratio**4
        by_pipe = 2.0 * beta4 / (1.0 - beta4) * self.pipe_uncertainty_mm / self.pipe_mm
        by_bore = 2.0 / (1.0 - beta4) * self.bore_uncertainty_mm / self.bore_mm
        return math.hypot(by_pipe, by_bore)

    def _extrapolation_relative(self, reynolds_number: float) -> float:
        """Limit of the error of C below the standard's Re (1).

        Chosen: 0.42·β⁴·(Re_least/Re - 1) fits how far two published continuations lie
        apart there. The terms that Reader-Harris added (Orifice Plates and Venturi
        Tubes, 2015) stand above Hollingshead's computed coefficients (2011) by 2.9 and
        6.4 % for β 0.5 and by 8.4 and 15.6 % for β 0.6, at Re 2392 and 1407. The
        standard's own formula, continued, keeps within 4 % of Hollingshead's there.
        """
        if reynolds_number <= 0.0 or reynolds_number >= self.least_reynolds:
            return 0.0
        return 0.42 * self.diameter_ratio**4 * (self.least_reynolds / reynolds_number - 1.0)


@dataclass(frozen=True, slots=True)
class OrificeLoss:
    """What an orifice plate in the line costs: its permanent loss.

    Attributes:
        orifice: The plate.
        name: What people call it.
    """

    orifice: Orifice
    name: str = "orifice plate"

    def pressure_drop_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the pressure (Pa, >= 0) that is lost at an airflow (L/min); 0 for no flow.

        Past a quarter of the air's pressure, where the standard ends, it goes on as the
        square of the flow: no fan gets there, but the search for its airflow may begin there.

        Raises:
            ValueError: The airflow is not finite.
        """
        require_finite("airflow", airflow_l_min, "L/min")
        last_pa = LARGEST_PRESSURE_PART * air.pressure_pa
        last_l_min = self.orifice.airflow_l_min(last_pa, air)
        if airflow_l_min >= last_l_min:
            beyond = airflow_l_min / last_l_min
            return self.orifice.permanent_loss_pa(last_pa, air) * beyond**2
        differential_pa = self.orifice.differential_pa(airflow_l_min, air)
        return self.orifice.permanent_loss_pa(differential_pa, air)

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        """Return the limits of ISO 5167-2 that an airflow (L/min) lies outside."""
        return self.orifice.flags(airflow_l_min, air)


def expansibility(
    diameter_ratio: float,
    differential_pa: float,
    upstream_pa: float,
    isentropic_exponent: float = ISENTROPIC_EXPONENT,
) -> float:
    """Return the expansibility ε (1): how much less a gas passes than a liquid would.

    Args:
        diameter_ratio: β (1).
        differential_pa: Pressure across the plate (Pa, >= 0).
        upstream_pa: Absolute pressure upstream (Pa, > 0).
        isentropic_exponent: κ of the gas (1).

    Raises:
        ValueError: The pressure is above a quarter of the upstream pressure.

    Source:
        ISO 5167-2:2003, 5.3.2.2, equation 5.
    """
    part = differential_pa / upstream_pa
    if part > LARGEST_PRESSURE_PART:
        raise ValueError(
            f"{differential_pa:.0f} Pa across an orifice is above a quarter of {upstream_pa:.0f} Pa"
        )
    fall: float = 1.0 - (1.0 - part) ** (1.0 / isentropic_exponent)
    return 1.0 - (0.351 + 0.256 * diameter_ratio**4 + 0.93 * diameter_ratio**8) * fall
