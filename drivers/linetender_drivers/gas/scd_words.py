"""Commands with CRC words, as the SCD30 and SCD4x take and answer them."""

from linetender_drivers.crc_words import checked_words, with_crcs
from linetender_drivers.errors import DeviceTimeout
from linetender_drivers.i2c_sensor import I2cChip

ANSWER_S = 0.004
"""Between a command and reading its answer (SCD30 3 ms, SCD4x 1 ms)."""

POLL_S = 0.1
"""Between two questions whether a measurement is ready (chosen)."""


async def order(chip: I2cChip, command: int, argument: int | None = None) -> None:
    """Send a command, with a 16-bit argument if it takes one."""
    data = command.to_bytes(2, "big")
    if argument is not None:
        data += with_crcs(argument.to_bytes(2, "big"))
    await chip.write(data)


async def answer(chip: I2cChip, command: int, words: int) -> bytes:
    """Send a command and return the words it answers, without their CRCs.

    The chip needs time in between, so these are two transfers.

    Raises:
        BadFrame: a CRC does not match.
        DriverError: the bus failed, or the chip does not take the command now.
    """
    await order(chip, command)
    await chip.sleep(ANSWER_S)
    length = 3 * words
    return checked_words(await chip.read(length), length, chip.name)


async def answer_number(chip: I2cChip, command: int) -> int:
    """Send a command and return the one word it answers; errors as `answer`."""
    return int.from_bytes(await answer(chip, command, 1), "big")


async def wait_until_ready(chip: I2cChip, command: int, mask: int, patience_s: float) -> None:
    """Ask until any of some bits of a status is set.

    Raises:
        DeviceTimeout: not within the patience (s).
        BadFrame: a CRC does not match.
        DriverError: the bus failed.
    """
    give_up_ns = chip.clock.now_ns() + round(patience_s * 1e9)
    while not await answer_number(chip, command) & mask:
        if chip.clock.now_ns() >= give_up_ns:
            raise DeviceTimeout(chip.name, f"no measurement within {patience_s:g} s")
        await chip.sleep(POLL_S)
