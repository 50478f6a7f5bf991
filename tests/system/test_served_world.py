"""A practice world that several verbs share, worked by a script's hands."""

import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from linetender.cli.exit_codes import ExitCode
from linetender.recording.replay import replay_file
from mosquitto_broker import MosquittoBroker, Witness, mosquitto, witness
from served_world import S, World, served_world

__all__ = ["mosquitto", "witness"]

BUZZER, LAMP_GREEN = 22, 23


@pytest.fixture(name="world", scope="module")
def _world(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    """Serve one world for all tests that leave it as it is."""
    with served_world(tmp_path_factory.mktemp("served")) as world:
        yield world


def begin_use(world: World) -> None:
    """Let a station arm and its wearer put the hood on."""
    world.hand("wait", "90", "--stations", "1")
    world.hand("turn", "hood", "1")
    world.hand("wait", "10")


def test_a_fan_that_stops_is_heard_and_answered_in_the_words_of_public_verbs(
    tmp_path: Path,
) -> None:
    record = tmp_path / "session.jsonl"
    with (
        served_world(tmp_path, "--held") as world,
        world.background("run", world.station(), "--record", record) as station,
    ):
        begin_use(world)
        assert "stage: worn   air watched   sounder: quiet" in world.verb("status").stdout
        assert world.edges(BUZZER) == [(0, 0)]
        world.hand("fault", "fan_stop")
        assert world.look()["now_s"] == 100
        assert "GPIO 22 is high" in world.hand("wait", "10", "--pin", str(BUZZER))
        sounded_ns = world.edges(BUZZER)[1][0]
        assert 102 * S < sounded_ns < 105 * S
        assert world.look()["now_s"] == sounded_ns / S
        world.hand("wait", "1")
        world.hand("press", "answer")
        world.hand("wait", "1")
        status = " ".join(world.verb("status").stdout.split())
        assert "LEAVE Air lost. Leave, then take the hood off. answered" in status
        assert "Cause: The fan has stopped. Leave." in status
        assert world.verb("out", "--wearer").returncode == ExitCode.FINE
        world.hand("wait", "1")
        assert world.edges(BUZZER)[-1][1] == 0
        lamp = world.edges(LAMP_GREEN)
        assert len(lamp) > 2 * 100
        station.send_signal(signal.SIGTERM)
        said, errors = station.communicate(timeout=30)
        assert (station.returncode, errors) == (ExitCode.FINE, "")
        assert "LEAVE: Air lost." in said
        assert "Cause: The fan has stopped." in said
    outcome = replay_file(record)
    assert (outcome.differing, outcome.ended) == (0, True)


def test_a_held_world_stands_still_and_a_wait_that_is_in_vain_says_so(tmp_path: Path) -> None:
    with (
        served_world(tmp_path, "--held") as world,
        world.background("run", world.station()),
    ):
        world.hand("wait", "5", "--stations", "1")
        assert (world.look()["now_s"], world.look()["held"]) == (5, True)
        done = world.verb("simulate", "wait", "3", "--pin", str(BUZZER), "--at", world.at)
        assert (done.returncode, done.stdout) == (
            ExitCode.FINDINGS,
            "8.000 s  GPIO 22 did not change within 3 s.\n",
        )
        world.hand("go")
        world.hand("wait", "120")
        assert world.look()["now_s"] >= 128


def test_probe_finds_the_served_chips_and_oximeter(tmp_path: Path) -> None:
    with served_world(tmp_path) as world:
        done = world.verb("probe", "--bus", f"simulated:{world.at}")
        assert (done.returncode, done.stderr) == (ExitCode.FINE, "")
        chips = ("SDP810-500Pa", "INA219", "ADS1115", "SCD30", "SIM-1")
        assert [chip for chip in chips if chip not in done.stdout] == []
        assert f'options = {{ bus = "simulated:{world.at}", address = 0x25 }}' in done.stdout


TEACHING = (
    (("fault", "ports_joined"),),
    (("fault", "ports_joined", "--clear"),),
    (("fault", "fan_stop"),),
    (("fault", "fan_stop", "--clear"), ("fault", "duct_pinched")),
    (("fault", "--clear"), ("fault", "duct_off")),
)


def read_until(process: subprocess.Popen[str], what: str) -> None:
    assert process.stdout is not None
    seen = ""
    while what not in seen:
        letter = process.stdout.read(1)
        assert letter, f"ended before {what!r}: {seen}"
        seen += letter


def test_probe_in_a_held_world_says_why_it_waits(tmp_path: Path) -> None:
    with (
        served_world(tmp_path, "--held") as world,
        world.background("probe", "--bus", f"simulated:{world.at}") as probing,
    ):
        world.hand("wait", "60", "--stations", "1")
        said, errors = probing.communicate(timeout=30)
        assert "That world is held" in errors
        assert "SDP810-500Pa" in said


def test_a_line_is_taught_by_a_script_that_makes_its_faults(tmp_path: Path) -> None:
    with served_world(tmp_path) as world:
        path = world.station("taught", without="normal_pa")
        with world.background("calibrate", path, "--teach") as asked:
            assert asked.stdin is not None
            for _ in range(2):
                read_until(asked, "]: ")
                asked.stdin.write("\n")
            for deeds in TEACHING:
                read_until(asked, "press Enter: ")
                for deed in deeds:
                    world.hand(*deed)
                world.hand("wait", "20")
                asked.stdin.write("\n")
            said, errors = asked.communicate(timeout=30)
        assert (asked.returncode, errors) == (ExitCode.FINE, "")
        assert "Normal pressure: 59." in said
        assert "fan off       air_lost" in said
        assert (world.at / "state" / "taught" / "memory.sqlite3").exists()
        assert world.verb("lint", path).returncode == ExitCode.FINE


def test_a_file_of_answers_has_hands_in_the_world(tmp_path: Path) -> None:
    (tmp_path / "air.toml").write_text("schema = 1\n", encoding="utf-8")
    with served_world(tmp_path) as world:
        path = world.station("taught", without="normal_pa")
        done = world.verb("calibrate", path, "--teach", "--answers", tmp_path / "air.toml")
        assert (done.returncode, done.stderr) == (ExitCode.FINE, "")
        assert "Normal pressure: 59." in done.stdout


def test_a_station_that_is_killed_holds_neither_time_nor_lines_and_its_outputs_stay(
    tmp_path: Path,
) -> None:
    with served_world(tmp_path, "--held") as world:
        path = world.station()
        with world.background("run", path) as first:
            begin_use(world)
            world.hand("fault", "fan_stop")
            world.hand("wait", "10", "--pin", str(BUZZER))
            first.kill()
            first.wait(timeout=30)
        world.hand("wait", "5")
        after = world.look()
        assert (after["stations"], after["outputs"][str(BUZZER)]) == ([], 1)
        with world.background("run", path) as second:
            world.hand("wait", "3", "--stations", "1")
            assert "sounder: LEAVE" in world.verb("status").stdout
            second.send_signal(signal.SIGTERM)
            assert second.wait(timeout=30) == ExitCode.FINE


def test_a_line_that_another_station_has_is_refused(tmp_path: Path) -> None:
    with (
        served_world(tmp_path, "--held") as world,
        world.background("run", world.station("first")),
    ):
        world.hand("wait", "1", "--stations", "1")
        done = world.verb("run", world.station("second"))
        assert done.returncode == ExitCode.DEVICE
        assert "another device of the station has it" in done.stderr


def test_a_station_whose_world_ends_says_so_and_ends(tmp_path: Path) -> None:
    with (
        served_world(tmp_path) as world,
        world.background("run", world.station()) as station,
    ):
        world.hand("wait", "1", "--stations", "1")
        world.hand("stop")
        assert world.process.wait(timeout=30) == ExitCode.FINE
        _, errors = station.communicate(timeout=30)
        assert station.returncode == ExitCode.DEVICE
        assert "no longer served" in errors
        assert "Traceback" not in errors
        assert not (world.at / "world.sock").exists()


@pytest.mark.broker
def test_simulated_time_waits_for_a_real_broker(
    mosquitto: MosquittoBroker, witness: Witness, tmp_path: Path
) -> None:
    with served_world(tmp_path, "--held") as world:
        path = world.station()
        with path.open("a", encoding="utf-8") as file:
            file.write(f"\n[broker]\nhost = '127.0.0.1'\nport = {mosquitto.port}\n")
        with world.background("run", path):
            begin_use(world)
            world.hand("fault", "fan_stop")
            world.hand("wait", "10", "--pin", str(BUZZER))
            witness.wait_for("linetender/served/alarm/air_lost", '"state":"unacknowledged"')
            world.hand("wait", "1")
            beats = [seen for seen in witness.seen if seen.topic == "linetender/served/alive"]
            # One each simulated second, though they went by within a real one or two.
            assert len(beats) >= 100


def test_no_world_another_world_or_none_at_all(tmp_path: Path) -> None:
    with served_world(tmp_path) as world:
        path = world.station()
        other = world.verb("simulate", "practice", "--at", world.at)
        assert other.returncode == ExitCode.ALREADY_RUNNING
        assert "linetender simulate stop --at" in other.stderr
        mixed = tmp_path / "mixed.toml"
        mixed.write_text(path.read_text().replace("simulated:world", "simulated", 1))
        done = world.verb("run", mixed)
        assert (done.returncode, done.stdout) == (ExitCode.USAGE, "")
        world.hand("stop")
        world.process.wait(timeout=30)
        for verb in (["run", path], ["simulate", "status", "--at", world.at]):
            done = world.verb(*verb)
            assert done.returncode == ExitCode.DEVICE
            assert "no simulated world is served from this folder" in done.stderr


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (["press", "bell"], "no button is called 'bell'; there is: answer"),
        (["fault", "rain"], "no fault is called 'rain'; there are: bus_overdue"),
        (["fault"], "which fault?"),
        (["turn", "fan", "3"], "fan of 3.0 is outside 0 to 1"),
        (["turn", "lid", "1"], "no knob is called 'lid'"),
        (["no-such-scenario"], "no scenario or command 'no-such-scenario'"),
        (["power_cut"], "cuts the box's power"),
    ],
)
def test_what_a_hand_cannot_do(world: World, arguments: list[str], complaint: str) -> None:
    done = world.verb("simulate", *arguments, "--at", world.at)
    assert (done.returncode, done.stdout) == (ExitCode.USAGE, "")
    assert complaint in " ".join(done.stderr.replace("│", " ").split())
