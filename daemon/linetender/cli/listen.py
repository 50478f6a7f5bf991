"""What `probe --listen` does: show what an oximeter sends, so that its packets can be described."""

import asyncio
import json
import re
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol, TextIO

from linetender_drivers.buses.ble_listener import BleListener, Heard, Offer
from linetender_drivers.errors import DriverConfigError
from linetender_drivers.oximeter.byte_changes import OCTETS_A_ROW, changes_by_length, spans

LETTERS = "abcdefghijklmnopqrstuvwxyz"
MEMORY = 100_000
"""Notifications kept for the map: more than a day at one a second (chosen)."""

BASE_UUID = "-0000-1000-8000-00805f9b34fb"
"""Tail of every UUID that the Bluetooth SIG has given.

Source: Bluetooth Core Specification, Vol 3, Part B, 2.5.1."""

ADDRESS = r"[0-9A-F]{2}(:[0-9A-F]{2}){5}"

Out = Callable[[str], object]


class Listener(Protocol):
    """As much of a radio as is needed here; `BleListener` is one."""

    async def open(self) -> tuple[Offer, ...]:
        """Connect; return what the peer offers."""

    async def subscribe(self, is_wanted: Callable[[Offer], bool]) -> None:
        """Ask for what it sends."""

    async def send(self, characteristic: str, octets: bytes) -> None:
        """Write something to it."""

    async def next(self) -> Heard:
        """Wait for what comes next."""

    async def close(self) -> None:
        """Disconnect."""


@dataclass(frozen=True)
class Hearing:
    """What is listened to, and where it goes.

    Attributes:
        listener: The radio's link.
        out: Where lines for people go.
        file: Where notifications are saved, or None.
        wanted: The one characteristic to hear, or None.
        start: What is written after subscribing, and where to, or None.
    """

    listener: Listener
    out: Out
    file: TextIO | None = None
    wanted: str | None = None
    start: tuple[str, bytes] | None = None


def listen(
    address: str,
    out: Out,
    *,
    save: Path | None = None,
    seconds: float | None = None,
    characteristic: str | None = None,
    start: str | None = None,
) -> None:
    """Listen to a peer until Ctrl-C, or for a time, and show what came.

    Args:
        address: Its Bluetooth address.
        out: Where lines for people go.
        save: Write each notification here, a line `{"t_ms": …, "hex": …}`.
        seconds: How long; None: until told to stop.
        characteristic: Hear this one only, a UUID.
        start: Written once after subscribing: a UUID, `=`, and octets as in `c9 35`.

    Raises:
        DriverConfigError: the address is none, or it is not clear what to hear.
        DriverError: there is no radio or no such peer, or the link was lost.
        OSError: the file cannot be written, or is there already.
    """
    if not re.fullmatch(ADDRESS, address.upper()):
        raise DriverConfigError(address, "is no Bluetooth address, such as C0:FF:EE:00:18:22")
    wanted = None if characteristic is None else characteristic.lower()
    command = None if start is None else _start(start)
    what = Hearing(BleListener(address.upper()), out, None, wanted, command)
    if save is None:
        asyncio.run(_listen(what, seconds))
    else:
        _listen_and_save(what, seconds, save)


def _listen_and_save(what: Hearing, seconds: float | None, save: Path) -> None:
    with save.open("x", encoding="utf-8") as file:
        try:
            asyncio.run(_listen(replace(what, file=file), seconds))
        finally:
            has_any = file.tell() > 0
            if not has_any:
                save.unlink()
    if has_any:
        what.out(f"Saved in {save}. Check a description of it: linetender lint P --against {save}")


def _start(text: str) -> tuple[str, bytes]:
    uuid, _, octets = text.partition("=")
    try:
        return uuid.strip().lower(), bytes.fromhex(octets)
    except ValueError as error:
        raise DriverConfigError(
            text, "expected a characteristic and octets, as in 5a5a0003-…=c9 35"
        ) from error


async def _listen(what: Hearing, seconds: float | None) -> None:
    stopping = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stopping.set)
    try:
        hearing = asyncio.ensure_future(hear(what))
        stop = asyncio.ensure_future(stopping.wait())
        await asyncio.wait({hearing, stop}, timeout=seconds, return_when="FIRST_COMPLETED")
        stop.cancel()
        if not hearing.done():
            hearing.cancel()
        await asyncio.wait({hearing})
        if not hearing.cancelled():
            hearing.result()
    finally:
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.remove_signal_handler(number)


async def hear(what: Hearing) -> None:
    """Show offers and notifications until cancelled or the link is lost; then the maps.

    Raises:
        DriverError: the peer cannot be heard, or the link was lost.
    """
    try:
        offers = await what.listener.open()
        senders = _senders(offers, what.wanted)
        for line in offer_lines(offers, senders):
            what.out(line)
        _check(senders, what.wanted, is_saving=what.file is not None)
        await what.listener.subscribe(lambda offer: offer.characteristic in senders)
        if what.start is not None:
            await what.listener.send(*what.start)
        await _show_all(what.listener, what.out, what.file, senders)
    finally:
        await what.listener.close()


async def _show_all(
    listener: Listener, out: Out, file: TextIO | None, senders: dict[str, str]
) -> None:
    kept: dict[str, list[bytes]] = {uuid: [] for uuid in senders}
    began_ns = time.monotonic_ns()
    out("Seconds, letter, octets; * stands before one that is not as in the one before it.")
    try:
        while True:
            heard = await listener.next()
            t_ms = (time.monotonic_ns() - began_ns) // 1_000_000
            if file is not None:
                file.write(json.dumps({"t_ms": t_ms, "hex": heard.octets.hex()}) + "\n")
                file.flush()
            frames = kept[heard.characteristic]
            before = next((each for each in frames[-1:] if len(each) == len(heard.octets)), None)
            for line in notification_lines(
                t_ms, senders[heard.characteristic], heard.octets, before
            ):
                out(line)
            if len(frames) < MEMORY:
                frames.append(heard.octets)
            else:
                frames[-1] = heard.octets
    finally:
        for uuid, frames in kept.items():
            for line in map_lines(senders[uuid], uuid, frames):
                out(line)


def _senders(offers: tuple[Offer, ...], wanted: str | None) -> dict[str, str]:
    """Return a letter for each characteristic that is heard."""
    uuids = [each.characteristic for each in offers if each.sends]
    heard = [uuid for uuid in dict.fromkeys(uuids) if wanted is None or wanted in _names(uuid)]
    return dict(zip(heard, LETTERS, strict=False))


def _check(senders: dict[str, str], wanted: str | None, *, is_saving: bool) -> None:
    if not senders:
        what = "nothing" if wanted is None else f"no characteristic {wanted} that"
        raise DriverConfigError(
            "listening", f"the device offers {what} sends; choose one that notifies or indicates"
        )
    if is_saving and len(senders) > 1:
        raise DriverConfigError(
            "listening",
            f"{len(senders)} characteristics send, and a file holds one's octets; choose it "
            f"with --characteristic, one of {', '.join(map(short, senders))}",
        )


def offer_lines(offers: tuple[Offer, ...], letters: dict[str, str]) -> list[str]:
    """Return the services and their characteristics, those heard with their letter."""
    lines: list[str] = []
    service = ""
    for offer in offers:
        if offer.service != service:
            service = offer.service
            lines.append(f"service {short(service)}")
        letter = letters.get(offer.characteristic, " ") if offer.sends else " "
        lines.append(
            f"  {letter} {short(offer.characteristic):36} {' '.join(offer.properties)}"[:80]
        )
    return lines


def notification_lines(t_ms: int, letter: str, octets: bytes, before: bytes | None) -> list[str]:
    """Return a notification in lines of at most 80 columns, changed octets marked."""
    cells = [
        f"{' ' if before is None or before[place] == octet else '*'}{octet:02x}"
        for place, octet in enumerate(octets)
    ] or [" (empty)"]
    rows = [
        "".join(cells[start : start + OCTETS_A_ROW]) for start in range(0, len(cells), OCTETS_A_ROW)
    ]
    head = f"{t_ms / 1000:9.2f} {letter}"
    return [f"{head if not place else ' ' * len(head)}{row}" for place, row in enumerate(rows)]


def map_lines(letter: str, uuid: str, frames: list[bytes]) -> list[str]:
    """Return the byte-change map of one characteristic, for each length that came."""
    if not frames:
        return [f"{letter} {short(uuid)}: nothing came"]
    lines: list[str] = []
    for changes in changes_by_length(frames):
        lines.append(f"{letter} {short(uuid)}: {changes.count} of {len(changes.bits)} octets")
        lines += changes.rows()
        if changes.count > 1:
            lines.append(f"  never changed: {spans(changes.unchanged()) or 'none'}"[:80])
    return lines


def short(uuid: str) -> str:
    """Write a UUID of the Bluetooth SIG by its number."""
    is_of_sig = uuid.startswith("0000") and uuid.endswith(BASE_UUID)
    return f"0x{uuid[4:8]}" if is_of_sig else uuid


def _names(uuid: str) -> tuple[str, ...]:
    return uuid, short(uuid), short(uuid).removeprefix("0x")
