"""Oximeter and computer as two Bluetooth stacks nobody here wrote, on a virtual radio.

Both ends are Bumble (google/bumble, 0.0.236 tried): real HCI, L2CAP, ATT and GATT bytes with
discovery and subscription, no radio. What arrives is decoded by us and, from the capture of
the whole session, by Wireshark, which learns from the same capture what each handle is.
"""

import asyncio
import io
import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from linetender_drivers.oximeter.plx_decode import decode_plx_continuous
from linetender_drivers.oximeter.plx_features_decode import decode_plx_features
from linetender_drivers.oximeter.plx_spot_check_decode import decode_plx_spot_check
from published.test_plx_wireshark import PLAIN_FRAMES, SPOT_CHECKS, as_our_spot_check, as_ours

TSHARK = shutil.which("tshark")
pytestmark = pytest.mark.skipif(
    TSHARK is None, reason="NOT CHECKED against Wireshark: install tshark (apt install tshark)"
)
bumble = pytest.importorskip(
    "bumble", reason="NOT CHECKED on a virtual radio: install bumble (pip install bumble)"
)

from bumble.controller import Controller  # noqa: E402
from bumble.device import Device, Peer  # noqa: E402
from bumble.gatt import Characteristic, Service  # noqa: E402
from bumble.hci import Address  # noqa: E402
from bumble.host import Host  # noqa: E402
from bumble.link import LocalLink  # noqa: E402
from bumble.snoop import BtSnooper  # noqa: E402

Properties = Characteristic.Properties
FINGER, COMPUTER = "C0:FF:EE:00:18:22", "C0:FF:EE:00:00:01"
PLX, SPOT_CHECK, CONTINUOUS, FEATURES = "1822", "2A5E", "2A5F", "2A60"
FEATURE_OCTETS = bytes.fromhex("4f00e001200800")
DEFAULT_MTU = 23
"""Bluetooth Core Specification, Vol 3, Part G, 5.2.1: no larger one is asked for here."""
NOTIFICATION, INDICATION = 0x1B, 0x1D


def device(link: Any, name: str, address: str) -> Any:
    """Return one end."""
    host = Host()
    host.controller = Controller(name, link=link)
    return Device(name=name, address=Address(address), host=host)


def oximeter(device: Any) -> tuple[Any, Any]:
    """Give a device the Pulse Oximeter service; return what notifies and what indicates."""
    continuous = Characteristic(CONTINUOUS, Properties.NOTIFY, Characteristic.Permissions(0))
    spot = Characteristic(SPOT_CHECK, Properties.INDICATE, Characteristic.Permissions(0))
    features = Characteristic(
        FEATURES, Properties.READ, Characteristic.Permissions.READABLE, FEATURE_OCTETS
    )
    device.add_services([Service(PLX, [features, spot, continuous])])
    return continuous, spot


async def session(capture: io.BytesIO) -> tuple[bytes, list[bytes], list[bytes], int]:
    """Play it; return the features, what was notified, what was indicated, and the MTU."""
    link = LocalLink()
    finger, computer = device(link, "finger", FINGER), device(link, "computer", COMPUTER)
    continuous, spot = oximeter(finger)
    computer.host.snooper = BtSnooper(capture)
    await finger.power_on()
    await computer.power_on()
    await finger.start_advertising()
    connection = await computer.connect(finger.random_address)
    peer = Peer(connection)
    await peer.discover_services()
    for service in peer.services:
        await service.discover_characteristics()
    notified: list[bytes] = []
    indicated: list[bytes] = []
    (found,) = peer.get_characteristics_by_uuid(continuous.uuid)
    await found.discover_descriptors()
    await found.subscribe(lambda value: notified.append(bytes(value)))
    (found,) = peer.get_characteristics_by_uuid(spot.uuid)
    await found.discover_descriptors()
    await found.subscribe(lambda value: indicated.append(bytes(value)), prefer_notify=False)
    (found,) = peer.get_characteristics_by_uuid(bumble.core.UUID.from_16_bits(0x2A60))
    features = bytes(await found.read_value())
    for octets in PLAIN_FRAMES:
        await finger.notify_subscribers(continuous, bytes.fromhex(octets))
    for octets in SPOT_CHECKS:
        await finger.indicate_subscribers(spot, bytes.fromhex(octets))
    mtu = connection.att_mtu
    await connection.disconnect()
    return features, notified, indicated, mtu


def dissected(capture: Path, opcode: int) -> list[dict[str, Any]]:
    """Return what Wireshark makes of all packets of one kind."""
    command = [str(TSHARK), "-r", str(capture), "-Y", f"btatt.opcode == {opcode}"]
    command += ["-T", "json", "--no-duplicate-keys"]
    environment = {"HOME": str(capture.parent), "PATH": "/usr/bin:/bin", "LC_ALL": "C"}
    done = subprocess.run(
        command, env=environment, capture_output=True, text=True, timeout=60, check=True
    )
    return [packet["_source"]["layers"]["btatt"] for packet in json.loads(done.stdout)]


def test_what_comes_over_a_virtual_radio_is_read_alike_by_wireshark(tmp_path: Path) -> None:
    captured = io.BytesIO()
    features, notified, indicated, mtu = asyncio.run(session(captured))
    assert mtu == DEFAULT_MTU
    assert features == FEATURE_OCTETS
    assert decode_plx_features("clip", features).features == 0x4F
    assert notified == [bytes.fromhex(octets) for octets in PLAIN_FRAMES]
    assert indicated == [bytes.fromhex(octets) for octets in SPOT_CHECKS]
    capture = tmp_path / "session.btsnoop"
    capture.write_bytes(captured.getvalue())
    ours = [decode_plx_continuous("clip", octets) for octets in notified]
    assert [as_ours(layer) for layer in dissected(capture, NOTIFICATION)] == ours
    spots = [decode_plx_spot_check("clip", octets) for octets in indicated]
    assert [as_our_spot_check(layer) for layer in dissected(capture, INDICATION)] == spots
