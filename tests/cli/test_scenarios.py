"""Every scenario against its truth, and the commands that show them."""

import json
from pathlib import Path

import pytest
from _pytest.capture import CaptureFixture

from installed_command import linetender
from linetender.cli.exit_codes import ExitCode
from linetender.cli.scenario_play import (
    Play,
    scenario_named,
    scenario_names,
    station_of_scenario,
)
from linetender.cli.scenario_table import play_all
from linetender.core.events import StageChanged, StepChanged, StepState
from linetender.core.pre_use import WHOLE
from linetender.core.stages import Priority, Stage
from linetender.recording.replay import replay_file
from linetender.settings.shipped import shipped
from linetender.simulation.scenario import load_scenario

NAMES = scenario_names()


@pytest.mark.parametrize("name", NAMES)
def test_what_is_told_is_the_truth(name: str, caplog: pytest.LogCaptureFixture) -> None:
    verdict = Play(scenario_named(name)).run()
    assert verdict.faults == ()
    assert verdict.false_leaves == ()
    assert [record.getMessage() for record in caplog.records if record.exc_info] == []


def test_there_are_enough_of_both_arrangements() -> None:
    stations = [scenario_named(name).station for name in NAMES]
    assert len(NAMES) >= 30
    assert stations.count("fan_side") >= 5
    assert set(stations) == {
        "broker",
        "calibrated",
        "demo",
        "fan_side",
        "gases",
        "minimal",
        "tachometer",
        "wearer_side",
    }


def test_each_rule_that_a_truth_names_exists_on_its_station() -> None:
    for name in NAMES:
        scenario = scenario_named(name)
        rules = {rule.id for rule in station_of_scenario(scenario.station).plan.rules}
        named = {each.rule for each in scenario.expected} | scenario.may_sound
        assert named <= rules, name


def test_the_same_seed_says_the_same_and_another_seed_other_values() -> None:
    def events(seed: int) -> list[object]:
        play = Play(scenario_named("fan_stop"), seed)
        play.run()
        return list(play.events)

    assert events(3) == events(3)
    assert events(3) != events(4)


@pytest.mark.parametrize("seed", [2, 3])
@pytest.mark.parametrize("name", ["gust", "ordinary_work", "fan_stop", "hose_stepped_on"])
def test_other_seeds_are_judged_the_same(name: str, seed: int) -> None:
    assert Play(scenario_named(name), seed).run().faults == ()


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_an_ordinary_day_has_a_check_that_is_passed_by_who_hears_the_sounder(seed: int) -> None:
    played = Play(scenario_named("ordinary_day"), seed)
    assert played.run().faults == ()
    told = [
        (event.step, event.state, event.why)
        for event in played.events
        if isinstance(event, StepChanged) and event.step in ("checklist", "heard", WHOLE)
    ]
    assert told == [
        ("checklist", StepState.WAITING, ""),
        ("heard", StepState.WAITING, ""),
        ("checklist", StepState.MET, "button"),
        ("heard", StepState.WAITING, "hood on; the test sound comes"),
        ("heard", StepState.MET, "button"),
        (WHOLE, StepState.MET, "22 s hands-on"),
    ]
    stages = [
        (event.after, event.why) for event in played.events if isinstance(event, StageChanged)
    ]
    assert stages == [
        (Stage.PRE_USE, "button"),
        (Stage.WORN, "evidently worn"),
        (Stage.IDLE, "button"),
    ]


def test_a_named_scenario_is_played_and_recorded(tmp_path: Path) -> None:
    record = tmp_path / "s.jsonl"
    arguments = ("demo", "--scenario", "duct_off_at_hood_fan_side", "--speed", "0")
    done = linetender(*arguments, "--json", "--record", record)
    assert (done.returncode, done.stderr) == (ExitCode.FINE, "")
    summary = json.loads(done.stdout.splitlines()[-1])
    assert (summary["scenario"], summary["faults"]) == ("duct_off_at_hood_fan_side", [])
    assert 2.0 <= summary["seconds_to_sound"] <= 5.0
    assert replay_file(record).differing == 0


def test_what_cannot_be_seen_is_said() -> None:
    done = linetender("demo", "--scenario", "hose_off_collar", "--speed", "0")
    assert done.returncode == ExitCode.FINE
    assert "The station cannot see it: The tap lies before the hose" in done.stdout


def test_the_list() -> None:
    done = linetender("demo", "--list")
    assert done.returncode == ExitCode.FINE
    assert [line.split()[0] for line in done.stdout.splitlines()] == list(NAMES)


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("--scenario", "fan_stpo"), ExitCode.USAGE, "Did you mean fan_stop?"),
        (("--scenario", "power_cut", "--record", "s.jsonl"), ExitCode.USAGE, "cuts the power"),
    ],
)
def test_what_is_refused(arguments: tuple[str, ...], code: ExitCode, said: str) -> None:
    done = linetender("demo", "--speed", "0", *arguments)
    assert (done.returncode, done.stdout) == (code, "")
    assert said in " ".join(done.stderr.split())


def test_the_table_of_all(monkeypatch: pytest.MonkeyPatch, capsys: CaptureFixture[str]) -> None:
    few = ("fan_stop", "hose_off_collar", "power_cut")
    monkeypatch.setattr("linetender.cli.scenario_table.scenario_names", lambda: few)
    assert play_all(1, as_json=False)
    said = capsys.readouterr().out
    assert "3 of 3 scenarios are as they must be." in said
    rows = [line.rstrip() for line in said.splitlines()]
    assert max(map(len, rows)) <= 80
    assert [row[4:].split()[0] for row in rows if row.startswith((" ok ", " NO "))] == list(few)
    assert play_all(1, as_json=True)
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [row["scenario"] for row in rows] == list(few)
    assert 0.0 < rows[0]["delay_s"] < 5.0
    assert rows[0]["told"][0]["priority"] == Priority.HIGH


def test_a_truth_that_is_not_met_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: CaptureFixture[str]
) -> None:
    text = shipped("config/scenarios/fan_stop.toml").read_text(encoding="utf-8")
    late, other = tmp_path / "late.toml", tmp_path / "other.toml"
    late.write_text(text.replace("within_s = 5.0", "within_s = 1.0"), encoding="utf-8")
    other.write_text(text.replace('rule = "air_lost"', 'rule = "blind"'), encoding="utf-8")
    found = {path.stem: load_scenario(path) for path in (late, other)}
    monkeypatch.setattr("linetender.cli.scenario_table.scenario_names", lambda: tuple(found))
    monkeypatch.setattr("linetender.cli.scenario_table.scenario_named", found.__getitem__)
    assert not play_all(1, as_json=True)
    faults = [json.loads(line)["faults"] for line in capsys.readouterr().out.splitlines()]
    assert faults == [
        ["air_lost (high) sounded at 103.2 s; it must by 101 s"],
        [
            "blind (high) did not sound; it must by 105 s",
            "air_lost (high) sounded at 103.2 s and must not",
        ],
    ]
