"""Encrypted links to a real broker: whom they trust, and what is said when they do not.

The authorities and certificates are made here by openssl, for this test alone.
"""

import asyncio
import gc
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from linetender.runtime.broker_link import BrokerLink
from linetender.runtime.broker_login import BrokerSettingsError
from linetender.settings.shipped import shipped
from link_waiting import wait_for
from mosquitto_broker import PATIENCE_S, MosquittoBroker, program
from runtime.test_remote_commands import RealEars, send_all_kinds

pytestmark = [
    pytest.mark.broker,
    # The client library leaves the socket of a refused handshake to the garbage collector.
    pytest.mark.filterwarnings("ignore:.*SSLSocket:pytest.PytestUnraisableExceptionWarning"),
    pytest.mark.filterwarnings("ignore:unclosed <ssl.SSLSocket:ResourceWarning"),
]

EC = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
STATE = "linetender/bench/state"


def openssl(folder: Path, *arguments: str) -> None:
    command = [program("openssl"), *arguments]
    subprocess.run(command, cwd=folder, check=True, capture_output=True, timeout=PATIENCE_S)


def make_authority(folder: Path, name: str) -> None:
    subject = ("-subj", f"/CN=an invented authority {name}")
    files = ("-keyout", f"{name}.key", "-out", f"{name}.pem")
    # Python 3.13 takes no authority without it (RFC 5280, 4.2.1.3).
    usage = ("-addext", "keyUsage=critical,keyCertSign,cRLSign")
    openssl(folder, "req", "-x509", *EC, *files, *subject, *usage, "-days", "2")


def make_certificate(folder: Path, name: str, whose: str, days: str = "2") -> None:
    """Make one for a broker, signed by `ca`; `whose` is what it says of itself."""
    files = ("-keyout", f"{name}.key", "-out", f"{name}.csr")
    openssl(folder, "req", *EC, *files, "-subj", "/CN=broker")
    (folder / "whose").write_text(f"subjectAltName={whose}\nauthorityKeyIdentifier=keyid\n")
    signed = ("-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial", "-extfile", "whose")
    openssl(
        folder, "x509", "-req", "-in", f"{name}.csr", *signed, "-days", days, "-out", f"{name}.pem"
    )


class TlsBroker(MosquittoBroker):
    """A mosquitto that speaks TLS only."""

    def __init__(
        self, folder: Path, certificate: str, extra: str = "", users: tuple[str, ...] = ()
    ) -> None:
        lines = f"certfile {folder / certificate}.pem\nkeyfile {folder / certificate}.key\n"
        super().__init__(folder, lines + extra, users)
        self._folder = folder

    def _address(self) -> list[str]:
        return [*super()._address(), "--cafile", str(self._folder / "ca.pem")]


@pytest.fixture(autouse=True)
def collected() -> Iterator[None]:
    """Let those sockets be collected here, where the warning is expected."""
    yield
    gc.collect()


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("certificates")
    make_authority(folder, "ca")
    make_authority(folder, "other")
    make_certificate(folder, "good", "IP:127.0.0.1")
    make_certificate(folder, "elsewhere", "DNS:elsewhere.example")
    make_certificate(folder, "expired", "IP:127.0.0.1", days="-1")
    return folder


@pytest.fixture
def tls_broker(certificates: Path) -> Iterator[Callable[[str], TlsBroker]]:
    made: list[TlsBroker] = []

    def start(certificate: str) -> TlsBroker:
        broker = TlsBroker(certificates, certificate)
        made.append(broker)
        broker.start()
        return broker

    yield start
    for broker in made:
        broker.stop()


def test_an_encrypted_link_to_a_broker_that_proves_its_name(
    certificates: Path,
    tls_broker: Callable[[str], TlsBroker],
    links: Callable[..., BrokerLink],
) -> None:
    broker = tls_broker("good")
    link = links(broker.port, folder=certificates, tls=True, ca_file="ca.pem")
    link.start()
    link.publish(STATE, b"worn", qos=1, retain=True)
    wait_for(link, lambda state: state.confirmed == 2)
    with broker.watch(STATE) as witness:
        assert witness.wait_for(STATE, "worn").retained is True


@pytest.mark.parametrize(
    ("certificate", "trusted", "words"),
    [
        ("good", "other.pem", "unable to get local issuer certificate"),
        ("good", None, "unable to get local issuer certificate"),
        ("expired", "ca.pem", "certificate has expired"),
        ("elsewhere", "ca.pem", "IP address mismatch"),
    ],
)
def test_a_broker_that_does_not_is_told_nothing_and_why_is_said(
    certificate: str,
    trusted: str | None,
    words: str,
    certificates: Path,
    tls_broker: Callable[[str], TlsBroker],
    links: Callable[..., BrokerLink],
    caplog: pytest.LogCaptureFixture,
) -> None:
    broker = tls_broker(certificate)
    link = links(broker.port, folder=certificates, tls=True, ca_file=trusted)
    link.start()
    link.publish(STATE, b"worn", qos=1, retain=True)
    state = wait_for(link, lambda state: state.refusal != "")
    assert words in state.refusal
    assert state.refusal.startswith(f"the certificate of the broker at 127.0.0.1:{broker.port}")
    assert (state.connected, state.confirmed, state.waiting) == (False, 0, 2)
    assert [record.getMessage() for record in caplog.records] == [state.refusal]


def test_a_broker_that_does_not_encrypt_is_told_nothing(
    certificates: Path, mosquitto: MosquittoBroker, links: Callable[..., BrokerLink]
) -> None:
    mosquitto.start()
    link = links(mosquitto.port, folder=certificates, tls=True, ca_file="ca.pem")
    link.start()
    state = wait_for(link, lambda state: state.refusal != "")
    assert (state.connected, state.confirmed) == (False, 0)


@pytest.mark.parametrize("content", [None, "no certificate\n"])
def test_a_file_that_holds_no_certificates_is_said_at_the_start(
    content: str | None, tmp_path: Path, links: Callable[..., BrokerLink]
) -> None:
    if content is not None:
        (tmp_path / "ca.pem").write_text(content)
    with pytest.raises(BrokerSettingsError, match=r"ca\.pem: cannot be used"):
        links(8883, folder=tmp_path, tls=True, ca_file="ca.pem")


def test_commands_over_an_encrypted_link_with_the_shipped_access_list(certificates: Path) -> None:
    folder = certificates
    (folder / "acl").write_text(shipped("config/broker/acl").read_text(encoding="utf-8"))
    lines = f"allow_anonymous false\npassword_file {folder / 'linetender.passwords'}\n"
    lines += f"acl_file {folder / 'acl'}\n"
    broker = TlsBroker(folder, "good", lines, ("shed", "ann"))
    broker.start()
    ears = RealEars(folder, broker.port, tls=True, ca_file="ca.pem")
    try:
        asyncio.run(send_all_kinds(broker, ears))
    finally:
        ears.link.stop(0.5)
        broker.stop()
