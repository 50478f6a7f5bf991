"""Which signals a station file may ask of a sensor."""

from linetender_drivers.errors import DriverConfigError

PRESSURE_SIGNALS = frozenset({"duct_pressure_pa", "hood_pressure_pa", "filter_pressure_pa"})
"""A differential-pressure sensor measures one of these: which one, the station file says."""

TEMPERATURE_SIGNAL = "element_temperature_c"
"""The temperature of a pressure sensor itself."""


def one_pressure(name: str, roles: tuple[str, ...], also: frozenset[str]) -> str:
    """Return the one pressure among the signals that the station file asks for.

    Args:
        name: Of the device.
        roles: The signals it is asked for.
        also: What it can give besides.

    Raises:
        DriverConfigError: not exactly one pressure, or a signal it cannot give.
    """
    pressures = [role for role in roles if role in PRESSURE_SIGNALS]
    if len(pressures) != 1 or set(roles) - PRESSURE_SIGNALS - also:
        besides = f", and {' or '.join(sorted(also))} if wanted" if also else ""
        raise DriverConfigError(
            name,
            f"signals are {', '.join(roles) or 'none'}; expected exactly one of "
            f"{', '.join(sorted(PRESSURE_SIGNALS))}{besides}",
        )
    return pressures[0]


def known_signals(name: str, roles: tuple[str, ...], given: frozenset[str]) -> frozenset[str]:
    """Return the signals asked for as a set.

    Raises:
        DriverConfigError: there are none, or one that the device cannot give.
    """
    if not roles or set(roles) - given:
        raise DriverConfigError(
            name,
            f"signals are {', '.join(roles) or 'none'}; expected some of "
            f"{', '.join(sorted(given))}",
        )
    return frozenset(roles)
