"""Planted secrets of the broker's login are searched in all that a run leaves and says.

That is: logs, recording, memory (a use and its check are in it), local status, every message of
the broker, and what the verbs for station files and recordings print and write. The process
logs at the level of debugging, the client library of the broker included.
"""

import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from installed_command import environment, linetender
from linetender.cli.exit_codes import ExitCode
from linetender.runtime.broker_login import CREDENTIAL
from linetender.settings.shipped import shipped
from mosquitto_broker import PATIENCE_S, MosquittoBroker

pytestmark = pytest.mark.broker

USER, RIGHT, STALE = "planted-user-7f3a", "planted-password-91c2", "planted-stale-55d0"
SECRETS = (USER, RIGHT, STALE)

DEBUGGING = """
import logging, sys
given = logging.basicConfig
def basic_config(**how):
    given(**(how | {"level": logging.DEBUG, "format": "%(name)s %(levelname)s %(message)s"}))
logging.basicConfig = basic_config
from linetender.cli.main import main
sys.argv[0] = "linetender"
main()
"""
"""The installed program, but everything is logged."""


def test_what_is_searched_would_be_found(tmp_path: Path) -> None:
    (tmp_path / "log").write_text(f"as {USER} with {RIGHT}")
    assert found_in({"said": f"x{STALE}x"}, tmp_path) == [("said", STALE), *ALL_IN_LOG]


ALL_IN_LOG = [("log", USER), ("log", RIGHT)]


def found_in(said: dict[str, str], folder: Path) -> list[tuple[str, str]]:
    """Return where a secret was found: in what was said, and in the files of a folder."""
    texts = {name: text.encode() for name, text in said.items()}
    for file in sorted(path for path in folder.rglob("*") if path.is_file()):
        texts[str(file.relative_to(folder))] = file.read_bytes()
    return [
        (name, secret)
        for name, text in texts.items()
        for secret in SECRETS
        if secret.encode() in text
    ]


@pytest.mark.parametrize(
    ("in_file", "as_credential", "logs_in"),
    [(RIGHT, None, True), (STALE, RIGHT, True), (RIGHT, STALE, False)],
    ids=["password in a file", "password as a credential", "password that is refused"],
)
def test_no_secret_leaves_by_log_recording_status_or_report(
    in_file: str, as_credential: str | None, logs_in: bool, tmp_path: Path
) -> None:
    secret, left, runtime = (tmp_path / name for name in ("secret", "left", "runtime"))
    for folder in (secret, left, runtime):
        folder.mkdir()
    extra = f"allow_anonymous true\npassword_file {secret / 'linetender.passwords'}\n"
    broker = MosquittoBroker(secret, extra, (USER,), RIGHT)
    station = station_file(secret, broker.port, in_file)
    more = {"XDG_RUNTIME_DIR": str(runtime)}
    if as_credential is not None:
        (secret / CREDENTIAL).write_text(as_credential)
        more["CREDENTIALS_DIRECTORY"] = str(secret)
    broker.start()
    try:
        with broker.watch("#") as witness:
            record = left / "s.jsonl"
            run = start(station, left, record, more)
            try:
                status = status_of_running(more)
                run.wait(timeout=4 * PATIENCE_S)  # the day is over in 10 s
                broker.publish("the/end", "")
                witness.wait_for("the/end")
            finally:
                run.kill()
                run.wait()
            err = (left / "err").read_text()
            assert run.returncode == ExitCode.FINE, err
    finally:
        broker.stop()
    assert ("refuses the connection" in err) is not logs_in
    assert "DEBUG" in err and '"demo"' in status
    sent = "".join(f"{one.topic} {one.payload}\n" for one in witness.seen)
    assert [part in sent for part in ('"stage":"pre_use"', "home/device/")] == [logs_in] * 2, sent
    assert remembered_in(left / "state") == [1, 1]
    said = {"status": status, "sent": sent, **told_afterwards(record), **told_of(station)}
    assert found_in(said, left) == []


def remembered_in(state: Path) -> list[int]:
    """Return how many uses and pre-use checks the memory holds."""
    with closing(sqlite3.connect(state / "memory.sqlite3")) as memory:
        tables = ("session", "pre_use_check")
        return [len(memory.execute(f"SELECT * FROM {table}").fetchall()) for table in tables]


def told_of(station: Path) -> dict[str, str]:
    """Return what the verbs for a station file say of it."""
    told = {}
    for verb in (("lint",), ("lint", "--json")):
        done = linetender(*verb, station)
        assert done.returncode in (ExitCode.FINE, ExitCode.FINDINGS), done
        told[" ".join(verb)] = done.stdout + done.stderr
    return told


def told_afterwards(record: Path) -> dict[str, str]:
    """Return what the verbs for recordings say, after a page was written beside it."""
    page = record.with_name("report.html")
    report = linetender("report", record, "--out", page)
    facts = linetender("report", record, "--json")
    replay = linetender("replay", record)
    again = linetender("replay", record, "--json")
    tables = linetender("export", record, "--derived")
    told = (report, facts, replay, again, tables)
    assert [done.returncode for done in told] == [0] * len(told), told
    assert page.stat().st_size > 1000
    return {f"told {number}": done.stdout + done.stderr for number, done in enumerate(told)}


def station_file(folder: Path, port: int, password: str) -> Path:
    (folder / "broker.password").write_text(f"{password}\n")
    file = folder / "station.toml"
    file.write_text(
        f"{shipped('config/demo.toml').read_text()}\n[broker]\nhost = '127.0.0.1'\nport = {port}\n"
        f"user = '{USER}'\npassword_file = 'broker.password'\ndiscovery_prefix = 'home'\n"
    )
    return file


def start(
    station: Path, left: Path, record: Path, more: dict[str, str]
) -> "subprocess.Popen[bytes]":
    arguments = ["run", station, "--simulate", "ordinary_day", "--speed", "60"]
    return debugging([*arguments, "--record", record, "--state", left / "state"], left, more)


def debugging(
    arguments: list[str | Path], left: Path, more: dict[str, str]
) -> "subprocess.Popen[bytes]":
    """Run it; what it says goes to files, for a pipe that nobody reads would lose lines."""
    with (left / "out").open("wb") as out, (left / "err").open("wb") as err:
        return subprocess.Popen(
            [sys.executable, "-c", DEBUGGING, *arguments],
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=err,
            env=environment(**more),
        )


BOX = """
schema = 1
kind = "sounder"
box = {{ name = "bench" }}
broker = {{ host = "127.0.0.1", port = {port}, user = "{user}", password_file = "password" }}
stations = [{{ id = "demo", role = "wearer" }}]
"""


def test_no_secret_leaves_by_a_second_box(tmp_path: Path) -> None:
    secret, left = tmp_path / "secret", tmp_path / "left"
    for folder in (secret, left):
        folder.mkdir()
    extra = f"allow_anonymous true\npassword_file {secret / 'linetender.passwords'}\n"
    broker = MosquittoBroker(secret, extra, (USER,), RIGHT)
    (secret / "password").write_text(RIGHT)
    file = secret / "bench.toml"
    file.write_text(BOX.format(port=broker.port, user=USER))
    arguments = ["remote-sounder", file, "--terminal", "--state", left / "state"]
    broker.start()
    try:
        with broker.watch("#") as witness:
            run = debugging(arguments, left, {"XDG_RUNTIME_DIR": str(tmp_path)})
            try:
                witness.wait_for("linetender/demo/far/bench/online", "online")
                run.terminate()
                run.wait(timeout=PATIENCE_S)
            finally:
                run.kill()
                run.wait()
    finally:
        broker.stop()
    assert "DEBUG" in (left / "err").read_text()
    assert found_in({"sent": "".join(map(str, witness.seen))}, left) == []


def status_of_running(more: dict[str, str]) -> str:
    """Return what `status --json` prints, once the daemon answers."""
    deadline_s = time.monotonic() + PATIENCE_S
    while True:
        done = linetender("status", "--json", "--station", "demo", **more)
        if done.returncode in (ExitCode.FINE, ExitCode.FINDINGS):
            return done.stdout + done.stderr
        assert time.monotonic() < deadline_s, done.stdout + done.stderr
