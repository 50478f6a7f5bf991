"""What `calibrate --teach` learned of a line: its normal pressure, and how its faults look."""

import msgspec

from linetender.memory.store import Store


class StateSeen(msgspec.Struct, frozen=True):
    """One state of the line as it was measured.

    Attributes:
        mean_pa: Mean reading (Pa).
        scatter_pa: Standard deviation of the readings (Pa).
        percent_of_normal: Air, of the normal (%); None for the joined ports.
    """

    mean_pa: float
    scatter_pa: float
    percent_of_normal: float | None = None


class TaughtRecord(msgspec.Struct, frozen=True, kw_only=True):
    """A taught line.

    Attributes:
        made_at: Time of day (ISO 8601 with offset).
        synchronised: Whether that clock was known to be right.
        expires_at: From when on it is to be taught again.
        method: How it was taught.
        driver: Driver of the pressure sensor.
        signal: The pressure's signal.
        normal_pa: Normal pressure as the sensor reads it (Pa).
        uncertainty_pa: Standard uncertainty of that mean (Pa), sensor included.
        zero_pa: What was read with the ports joined (Pa).
        temperature_c: Air temperature then (°C).
        states: By name.
    """

    made_at: str
    synchronised: bool
    expires_at: str
    method: str
    driver: str
    signal: str
    normal_pa: float
    uncertainty_pa: float
    zero_pa: float
    temperature_c: float
    states: dict[str, StateSeen]


_COLUMNS = (
    "made_at, synchronised, expires_at, method, driver, signal, normal_pa, uncertainty_pa, "
    "zero_pa, temperature_c, states"
)


def store_taught(store: Store, record: TaughtRecord) -> None:
    """Keep a taught line; it is the one in force from now on.

    Raises:
        MemoryFault: it could not be stored, or holds a number that is not finite.
    """
    values = (
        record.made_at,
        int(record.synchronised),
        record.expires_at,
        record.method,
        record.driver,
        record.signal,
        record.normal_pa,
        record.uncertainty_pa,
        record.zero_pa,
        record.temperature_c,
        msgspec.json.encode(record.states).decode(),
    )
    places = ", ".join("?" * len(values))
    with store.changing() as connection:
        connection.execute(f"INSERT INTO taught ({_COLUMNS}) VALUES ({places})", values)


def taught_in_force(store: Store) -> TaughtRecord | None:
    """Return the newest taught line that was not withdrawn, or None.

    Raises:
        MemoryFault: the file cannot be read.
    """
    rows = store.rows("SELECT * FROM taught WHERE withdrawn_at IS NULL ORDER BY id DESC LIMIT 1")
    if not rows:
        return None
    plain = {key: rows[0][key] for key in TaughtRecord.__struct_fields__}
    plain["synchronised"] = bool(plain["synchronised"])
    plain["states"] = msgspec.json.decode(plain["states"], type=dict[str, StateSeen])
    return TaughtRecord(**plain)


def withdraw_all(store: Store, at: str) -> int:
    """Take what was taught and calibrated out of force; the rows stay. Return how many.

    Args:
        store: The memory.
        at: Time of day (ISO 8601).

    Raises:
        MemoryFault: it could not be stored.
    """
    with store.changing() as connection:
        return sum(
            connection.execute(
                f"UPDATE {table} SET withdrawn_at = ? WHERE withdrawn_at IS NULL", (at,)
            ).rowcount
            for table in ("calibration", "taught")
        )
