"""The daemon and a real broker, watched by a client that shares no code with ours."""

import json
import re
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from installed_command import COMMAND, environment, linetender
from linetender.cli.exit_codes import ExitCode
from linetender.recording.replay import replay_file
from linetender.settings.shipped import shipped
from mosquitto_broker import MosquittoBroker, Witness, mosquitto, witness

__all__ = ["mosquitto", "witness"]

pytestmark = pytest.mark.broker

TOP = "linetender/demo"
S = 1_000_000_000
OF_THE_BROKER = {"broker_lost", "delivery_refused", "delivery_unconfirmed"}


class Daemon:
    """A `linetender run` in the background, recorded."""

    def __init__(
        self, folder: Path, broker: MosquittoBroker | None, speed: float, state: Path | None = None
    ) -> None:
        folder.mkdir()
        self.record = folder / "s.jsonl"
        self.place = {"XDG_RUNTIME_DIR": str(folder)}
        text = shipped("config/demo.toml").read_text()
        if broker is not None:
            text += f"\n[broker]\nhost = '127.0.0.1'\nport = {broker.port}\n"
        (folder / "station.toml").write_text(text)
        arguments = ["run", folder / "station.toml", "--simulate", "demo", "--speed", str(speed)]
        arguments += [] if state is None else ["--state", state]
        self.process = subprocess.Popen(
            [COMMAND, *arguments, "--record", self.record],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment(**self.place),
        )

    def events(self) -> list[dict[str, object]]:
        """Return the events of its recording."""
        lines = [json.loads(line) for line in self.record.read_bytes().splitlines()]
        return [line for line in lines if "due_ns" in line]

    def changes(self) -> list[tuple[object, ...]]:
        """Return when each alarm but the broker's passed into which state."""
        return [
            (event["due_ns"], event["rule"], event["before"], event["after"])
            for event in self.events()
            if event["is"] == "alarm_changed" and event["rule"] not in OF_THE_BROKER
        ]


@contextmanager
def daemon(
    folder: Path, broker: MosquittoBroker | None, speed: float = 10, state: Path | None = None
) -> Iterator[Daemon]:
    made = Daemon(folder, broker, speed, state)
    with made.process:
        try:
            yield made
        finally:
            made.process.kill()


def test_the_whole_scenario_reaches_an_independent_client(
    mosquitto: MosquittoBroker, witness: Witness, tmp_path: Path
) -> None:
    with daemon(tmp_path / "run", mosquitto) as run:
        witness.wait_for(f"{TOP}/online", "online")
        witness.wait_for(f"{TOP}/state", '"stage":"worn"')
        sounding = witness.wait_for(f"{TOP}/alarm/air_lost", '"state":"unacknowledged"')
        said = witness.wait_for(f"{TOP}/say", "LEAVE: Air lost.")
        snapshot = retained(mosquitto, f"{TOP}/state")
        assert run.process.wait(timeout=30) == ExitCode.FINE
        witness.wait_for(f"{TOP}/online", "offline")
    alarm = json.loads(sounding.payload)
    assert (alarm["v"], alarm["priority"]) == (1, "high")
    assert alarm["text"] == "Air lost. Leave, then take the hood off."
    assert re.fullmatch("[0-9a-f]{8}", alarm["run"])
    assert "do not go in without clean air" in said.payload
    assert (snapshot["run"], snapshot["stage"]) == (alarm["run"], "worn")
    told = [json.loads(seen.payload) for seen in witness.seen if seen.topic == f"{TOP}/event"]
    changed = [event for event in run.events() if event["is"] == "alarm_changed"]
    assert [(one["id"], one["rule"], one["to"]) for one in told] == [
        (f"{alarm['run']}-{event['n']}", event["rule"], event["after"]) for event in changed
    ]
    alive = [json.loads(seen.payload) for seen in witness.seen if seen.topic == f"{TOP}/alive"]
    numbers = [beat["seq"] for beat in alive]
    assert len(numbers) > 60
    assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))


def test_status_says_whether_alerts_get_through(
    mosquitto: MosquittoBroker, witness: Witness, tmp_path: Path
) -> None:
    with daemon(tmp_path / "run", mosquitto, speed=1) as run:
        witness.wait_for(f"{TOP}/state", '"stage":"worn"')
        broker = json.loads(linetender("status", "--json", **run.place).stdout)["broker"]
        assert broker["connected"]
        assert broker["confirmed_ago_s"] >= 0.0


def retained(broker: MosquittoBroker, topic: str) -> dict[str, object]:
    """Return what a client that comes now is given at once."""
    with broker.watch(topic) as late:
        found: dict[str, object] = json.loads(late.wait_for(topic, retained=True).payload)
        return found


def test_after_kill_9_the_broker_says_offline(
    mosquitto: MosquittoBroker, witness: Witness, tmp_path: Path
) -> None:
    with daemon(tmp_path / "run", mosquitto) as run:
        witness.wait_for(f"{TOP}/alive", '"stage":"worn"')
        run.process.kill()
        run.process.wait(timeout=10)
        witness.wait_for(f"{TOP}/online", "offline")
    outcome = replay_file(run.record)
    assert (outcome.differing, outcome.ended) == (0, False)


def test_sigterm_in_an_alarm_says_offline_at_once_and_ends_in_good_order(
    mosquitto: MosquittoBroker, witness: Witness, tmp_path: Path
) -> None:
    with daemon(tmp_path / "run", mosquitto, speed=20) as run:
        witness.wait_for(f"{TOP}/alarm/air_lost", '"state":"unacknowledged"')
        run.process.send_signal(signal.SIGTERM)
        out, err = run.process.communicate(timeout=10)
        witness.wait_for(f"{TOP}/online", "offline")
    assert (run.process.returncode, err) == (ExitCode.FINE, "")
    assert out.splitlines()[-1] == "Stopped. Nothing is being watched now."
    outcome = replay_file(run.record)
    assert (outcome.differing, outcome.ended) == (0, True)


def test_a_broker_killed_and_frozen_in_mid_run_changes_no_alarm(
    mosquitto: MosquittoBroker, tmp_path: Path
) -> None:
    mosquitto.start()
    with (
        daemon(tmp_path / "without", None, speed=100) as alone,
        daemon(tmp_path / "with", mosquitto, speed=12) as run,
    ):
        with mosquitto.watch() as before:
            before.wait_for(f"{TOP}/alive", '"stage":"worn"')
        mosquitto.kill()
        assert alone.process.wait(timeout=30) == ExitCode.FINE
        mosquitto.start()
        with mosquitto.watch() as after:
            after.wait_for(f"{TOP}/online", "online")
            after.wait_for(f"{TOP}/alarm/air_falling")
        mosquitto.freeze()
        try:
            assert run.process.wait(timeout=30) == ExitCode.FINE
        finally:
            mosquitto.thaw()
        assert run.process.stderr is not None
        told = run.process.stderr.read().splitlines()
    # The broker's own absence is told as well; it changes nothing of the rest.
    assert run.changes() == alone.changes()
    assert len(run.changes()) > 5
    assert 1 <= len(told) <= 3
    assert all("local alarms go on" in line for line in told)


def test_what_a_killed_daemon_could_not_tell_is_told_by_the_next(
    mosquitto: MosquittoBroker, tmp_path: Path
) -> None:
    """The first never has a broker. Its events reach the witness once, in order, and late."""
    state = tmp_path / "state"
    with daemon(tmp_path / "first", mosquitto, speed=20, state=state) as first:
        assert first.process.stdout is not None
        while "LEAVE: Air lost." not in first.process.stdout.readline():
            assert first.process.poll() is None
        while "out" not in first.process.stdout.readline():
            assert first.process.poll() is None
        first.process.kill()
        first.process.wait(timeout=10)
    mosquitto.start()
    with mosquitto.watch(f"{TOP}/event") as told:
        with daemon(tmp_path / "second", mosquitto, speed=20, state=state):
            messages = [json.loads(told.wait_for(f"{TOP}/event").payload)]
            while messages[-1]["id"][:8] == messages[0]["id"][:8]:
                messages.append(json.loads(told.wait_for(f"{TOP}/event").payload))
    ids = [one["id"].partition("-") for one in messages]
    of_first = [int(n) for run, _, n in ids if run == ids[0][0]]
    assert len(of_first) >= 3
    # The state goes on after the last event that was kept: none is missing, none told twice.
    assert [int(n) for _, _, n in ids] == list(range(1, len(ids) + 1))
    assert len(ids) > len(of_first)
