"""What is unsafe, what of it can be granted, and the seconds by which it is judged."""

from pathlib import Path

import pytest

from linetender.core.fact_names import FactName
from linetender.settings import lint_rules
from linetender.settings.exceptions_policy import ADVICE, GRANTABLE, NEVER
from linetender.settings.leave_sentence import LEAVE, LEAVE_OPENING, opening
from linetender.settings.load import load_station
from linetender.settings.problems import StationFileError
from linetender.settings.rule_budget import RuleBudget
from linetender.settings.rule_file import RuleSet
from linetender.settings.rules import arrangements_of
from linetender.settings.safety_lint import CHECKS
from linetender.settings.shipped import shipped
from linetender.settings.station import Station
from linetender.settings.toml_file import read_toml
from settings.station_texts import AIR, ELEMENT, HANDS, OXIMETER, STATION, WHOLE, load, refusal

MAINS = """\
[devices.fan_mains]
driver = "gpio_contact"
contact = "fan_mains"
options = { chip = "simulated", gpio = 5 }
"""

FITTED = '[element]\nkind = "fitted"\nk = 20\nn = 0.5\nnormal_pa = 400\n'
"""400 L/min at 400 Pa."""


def _budget(station: Station, rule_id: str) -> RuleBudget:
    (found,) = [budget for budget in station.budgets if budget.rule == rule_id]
    return found


def _names(problems: tuple[object, ...]) -> list[str]:
    return [getattr(problem, "name", "not a finding") for problem in problems]


def test_each_finding_is_granted_never_or_sometimes_and_told_in_the_manual() -> None:
    names = {check.__name__ for check in CHECKS} | {"air_loss_untold", "unused_exception"}
    assert set(GRANTABLE) | set(NEVER) == names
    assert not set(GRANTABLE) & set(NEVER)
    assert names > ADVICE
    manual = shipped("config/README.md").read_text(encoding="utf-8")
    rows = {
        name: row.rsplit("|", 2)[1].strip()
        for row in manual.splitlines()
        if row.startswith("|")
        for name in row.split("|")[1].split("`")[1::2]
        if name in names
    }
    assert {name: told.startswith("yes") for name, told in rows.items()} == {
        name: name in GRANTABLE for name in names
    }


def test_the_killers_are_those_of_the_default_set() -> None:
    rules = RuleSet.model_validate(read_toml(shipped("config/rules/default.toml")).data).rule
    assert {
        rule_id: arrangements_of(rule) for rule_id, rule in rules.items() if rule.killer
    } == lint_rules.DEFAULT_KILLERS


def test_the_facts_that_default_rules_look_for_have_names() -> None:
    rules = RuleSet.model_validate(read_toml(shipped("config/rules/default.toml")).data).rule
    plain = {rule.fact for rule in rules.values() if rule.fact}
    confirmed = {rule.fact_stale.fact for rule in rules.values() if rule.fact_stale}
    assert plain == {
        FactName.STORAGE_FAILED,
        FactName.CLOCK_UNSYNCHRONISED,
        FactName.COMMANDS_UNGUARDED,
        FactName.NOT_CHECKED,
        FactName.RESUMED,
        FactName.POWER_CUT_UNANSWERED,
        FactName.BROKER_LOST,
        FactName.DELIVERY_REFUSED,
        FactName.DEVICE_FAILED,
    }
    assert confirmed == {FactName.FAR_END_CONFIRMED, FactName.DELIVERY_CONFIRMED}


# Closed forms by hand. Coast-down: tau · (1 / part of the flow - 1), tau = 3 s; a part of the
# pressure p is a part p^0.54 of a hose's flow. Sensing: two periods of 0.04 s.
PARTS = [
    # text of the station, rule, coast-down s, sensing s, on-delay s
    (WHOLE, "air_lost", 3 * (1 / 0.65 - 1), 0.08, 2.0),
    (WHOLE + "[fan]\ncoast_down_s = 4\n", "air_lost", 4 * (1 / 0.65 - 1), 0.08, 2.0),
    (WHOLE + "[fan]\ncoast_down_s = 0\n", "air_lost", 0.0, 0.08, 2.0),
    (WHOLE, "hood_pressure_high", 0.0, 0.08, 3.0),
    (WHOLE + MAINS, "fan_mains_lost", 0.0, 0.1, 0.0),
    (WHOLE.replace("wearer_side", "fan_side"), "air_jump", 0.0, 0.28, 2.0),
    (WHOLE.replace("0x25", "0x25, period_s = 0.5"), "air_lost", 3 * (1 / 0.65 - 1), 1.0, 2.0),
]


@pytest.mark.parametrize(("text", "rule_id", "coast_s", "sensing_s", "delay_s"), PARTS)
def test_the_parts_of_a_budget(
    text: str, rule_id: str, coast_s: float, sensing_s: float, delay_s: float, tmp_path
) -> None:
    parts = _budget(load(tmp_path, text), rule_id).seconds
    assert parts.coast_down_s == pytest.approx(coast_s)
    assert parts.sensing_s == pytest.approx(sensing_s)
    assert (parts.on_delay_s, parts.reaction_s) == (delay_s, 5.0)
    assert parts.needed_s == pytest.approx(coast_s + sensing_s + delay_s + 5.0)


OWN_CONDITIONS = [
    # condition of a rule of one's own, part of the normal flow at which it is present
    ('signal = "hood_pressure_pa"\nbelow = 30', 0.5**0.54),
    ('signal = "hood_pressure_pa"\noutside = [15, 90]', 0.25**0.54),
    ('signal = "air_percent_of_baseline"\nfalls = { by = 40, within_s = 5 }', 0.6),
    ('signal = "air_percent_of_baseline"\nbelow = 120', 1.0),
    (
        'any_of = [{ signal = "air_percent_of_baseline", below = 50 }, '
        '{ signal = "hood_pressure_pa", below = 48 }]',
        0.8**0.54,
    ),
    (
        'all_of = [{ signal = "air_percent_of_baseline", below = 70 }, '
        '{ signal = "hood_pressure_pa", below = 15 }]',
        0.25**0.54,
    ),
]


@pytest.mark.parametrize(("condition", "fraction"), OWN_CONDITIONS)
def test_the_flow_at_which_a_rule_of_ones_own_sees_it(
    condition: str, fraction: float, tmp_path
) -> None:
    default = shipped("config/rules/default.toml").read_text(encoding="utf-8")
    behaviour = 'priority = "high"\nstages = ["worn"]\nsay = "Leave."\nreason = "a test"\n'
    (tmp_path / "own.toml").write_text(f"{default}\n[rule.own]\n{condition}\n{behaviour}")
    station = load(tmp_path, WHOLE + '[rules]\nbase = "own.toml"\n')
    assert _budget(station, "own").flow_fraction == pytest.approx(fraction)


def test_neither_silence_nor_a_mere_look_has_a_budget(tmp_path) -> None:
    station = load(tmp_path, WHOLE + OXIMETER)
    assert [budget.rule for budget in station.budgets] == ["air_lost", "hood_pressure_high"]


@pytest.mark.parametrize(
    ("station", "element", "least_l_min"),
    [
        (STATION, ELEMENT, 170.0),
        (STATION + "required_airflow_l_min = 250\n", ELEMENT, 170.0),  # nobody measures it
        (STATION + "required_airflow_l_min = 100\n", ELEMENT, 100.0),
        (STATION + "required_airflow_l_min = 250\n", FITTED, 250.0),
    ],
)
def test_the_airflow_from_which_the_air_goes_bad(
    station: str, element: str, least_l_min: float, tmp_path
) -> None:
    # 60 · V · (3 % - intake - s / Qmin) / s, with V = 8 L, s = 0.73 L/min, 420 ppm outdoors.
    available_s = 60 * 8 * (0.03 - 420e-6 - 0.73 / least_l_min) / 0.73
    text = station + element + AIR + HANDS
    parts = _budget(load(tmp_path, text.replace("exit_time_s = 7", "exit_time_s = 1")), "air_lost")
    assert parts.seconds.available_s == pytest.approx(available_s)


def test_a_delay_that_just_fits_and_one_that_does_not(tmp_path) -> None:
    change = '[rules.change.air_lost]\non_delay_s = {}\nreason = "a test"\n'
    longest_s = _budget(load(tmp_path, WHOLE), "air_lost").longest_on_delay_s
    assert longest_s == pytest.approx(16.626 - 1.615 - 0.08 - 5.0, abs=0.001)
    text = WHOLE.replace("exit_time_s = 7", "exit_time_s = 1")
    load(tmp_path, text + change.format(longest_s - 0.01))
    problems = refusal(tmp_path, text + change.format(longest_s + 0.01))
    assert _names(problems) == ["alarm_past_budget"]
    assert (problems[0].line, problems[0].remedy) == (
        22,
        "set on_delay_s of air_lost to 9.9 or less",
    )


@pytest.mark.parametrize(
    ("text", "names"),
    [
        # 3 L/min into 20 L/min are 15 % CO2 before anything fails.
        (
            WHOLE.replace("time_s = 7", "time_s = 7\nrequired_airflow_l_min = 20")
            + "[hood]\nco2_l_min = 3\n",
            ["alarm_past_budget", "alarm_past_budget"],
        ),
        # A limit that no fan ever comes down to is none.
        (
            WHOLE + '[rules.change.air_lost]\nbelow = 1e-308\nreason = "never"\n',
            ["air_loss_untold"],
        ),
        (
            WHOLE + '[rules.change.air_lost]\nbelow = 0.2\nreason = "hardly ever"\n',
            ["alarm_past_budget"],
        ),
    ],
)
def test_extremes_are_refused_in_words(text: str, names: list[str], tmp_path) -> None:
    problems = refusal(tmp_path, text)
    assert _names(problems) == names
    assert all("inf" not in problem.expected and problem.remedy for problem in problems)


def test_where_the_way_out_does_not_fit_only_the_air_rules_say_so(tmp_path) -> None:
    fits = load(tmp_path, WHOLE + MAINS + OXIMETER)
    too_long = load(tmp_path, (WHOLE + MAINS + OXIMETER).replace("time_s = 7", "time_s = 8"))
    assert fits.advice == ()
    assert _names(too_long.advice) == ["exit_time_over_budget"]
    pairs = list(zip(fits.plan.rules, too_long.plan.rules, strict=True))
    assert {before.id: after.say for before, after in pairs if before.say != after.say} == {
        "fan_mains_lost": f"The fan has no power. {LEAVE_OPENING}",
        "air_lost": f"Air lost. {LEAVE_OPENING}",
        "hood_pressure_high": f"Hose blocked at the hood. {LEAVE_OPENING}",
    }
    assert [before.say.endswith(LEAVE) for before, _ in pairs].count(True) > 3


def test_a_sentence_of_ones_own_is_added_to() -> None:
    assert opening("Out, now!") == "Out, now! Open the hood while going."


def test_advice_that_is_granted_is_no_advice(tmp_path) -> None:
    granted = '[[exceptions]]\nfinding = "exit_time_over_budget"\nreason = "we practise it"\n'
    station = load(tmp_path, WHOLE.replace("time_s = 7", "time_s = 60") + granted)
    assert station.advice == ()
    assert _names(station.findings) == ["exit_time_over_budget"]
    assert station.plan.exceptions == ("exit_time_over_budget: we practise it",)


def test_an_exception_for_nothing_is_told(tmp_path) -> None:
    granted = '[[exceptions]]\nfinding = "no_sounder"\nreason = "just in case"\n'
    assert _names(load(tmp_path, WHOLE + granted).advice) == ["unused_exception"]


def test_air_that_only_a_second_box_sees_needs_an_exception(tmp_path: Path) -> None:
    air = '[devices.air]\ndriver = "forwarded"\nfrom = "bench"\n'
    air += 'signals = ["hood_pressure_pa"]\n'
    broker = '[broker]\nhost = "127.0.0.1"\n'
    text = STATION.replace("time_s = 7", "time_s = 1") + ELEMENT + air + HANDS + broker
    path = tmp_path / "shed.toml"
    path.write_text(text)
    with pytest.raises(StationFileError) as caught:
        load_station(path)
    (problem,) = caught.value.problems
    assert (problem.line, problem.key) == (10, "devices.air.driver")
    granted = '[[exceptions]]\nfinding = "loss_of_air_by_forward"\nreason = "one cable"\n'
    path.write_text(text + granted)
    station = load_station(path)
    assert _names(station.findings) == ["loss_of_air_by_forward"]
    # Two periods of the 1 s that is assumed, and 3 s on the way.
    assert _budget(station, "air_lost").seconds.sensing_s == 5.0


@pytest.mark.parametrize(
    ("rule_id", "change", "keys"),
    [
        ("spo2_low", "below = 94", []),
        ("spo2_low", "below = 94.1", ["below"]),
        ("spo2_low", "deadband = 1.9", ["deadband"]),
        ("spo2_falling", "also_below = 94.5", ["also_below"]),
        ("spo2_falling", "deadband = 0.5", []),  # relative to the wearer's own, 20 s and 30 s
        ("pulse_out_of_range", "deadband = 1", []),
    ],
)
def test_oxygen_limits_within_the_oximeters_error(
    rule_id: str, change: str, keys: list[str], tmp_path
) -> None:
    text = WHOLE + OXIMETER + f'[rules.change.{rule_id}]\n{change}\nreason = "a test"\n'
    if keys:
        problems = refusal(tmp_path, text)
        assert _names(problems) == ["spo2_limit_chatters"] * len(keys)
        assert [each.key for each in problems] == [f"rules.change.{rule_id}.{key}" for key in keys]
    else:
        load(tmp_path, text)


@pytest.mark.parametrize(
    ("rule_id", "change", "line"),
    [
        ("spo2_very_low", "on_delay_s = 30", None),
        ("spo2_very_low", "on_delay_s = 31", 22),
        ("help", 'held = { contact = "answer", after_s = 11 }', 22),
        ("check_in_missed_late", "check_in_missed = { after_s = 300 }", None),
        ("check_in_missed_late", "check_in_missed = { after_s = 299 }\non_delay_s = 2", 23),
    ],
)
def test_a_killer_that_waits_too_long(
    rule_id: str, change: str, line: int | None, tmp_path
) -> None:
    text = WHOLE + f'[rules.change.{rule_id}]\n{change}\nreason = "a test"\n'
    if line is None:
        load(tmp_path, text)
        return
    (problem,) = refusal(tmp_path, text)
    assert (_names((problem,)), problem.line) == (["killer_too_late"], line)


def test_a_sensor_that_sees_neither_air_nor_oxygen_does_not_end_blindness(tmp_path) -> None:
    change = '[rules.change.blind]\nsignals = ["hood_pressure_pa", "pulse_rate_bpm"]\n'
    problems = refusal(tmp_path, WHOLE + OXIMETER + change + 'reason = "a test"\n')
    assert _names(problems) == ["no_blind_rule"]


@pytest.mark.parametrize(
    ("rule_id", "change", "key"),
    [
        ("help", "killer = false", "killer"),
        ("help", 'priority = "low"', "priority"),
        ("help", 'stages = ["service"]', "stages"),
        ("help", 'arrangements = ["fan_side"]', "arrangements"),
        ("spo2_very_low", "killer = false", "killer"),  # also where its part is not fitted
    ],
)
def test_no_reason_weakens_a_killer(rule_id: str, change: str, key: str, tmp_path) -> None:
    text = WHOLE + f'[rules.change.{rule_id}]\n{change}\nreason = "quiet please"\n'
    (problem,) = refusal(tmp_path, text)
    assert _names((problem,)) == ["killer_weakened"]
    assert (problem.line, problem.key) == (22, f"rules.change.{rule_id}.{key}")
