"""What rules for slow losses gain: against the default rules, in the same runs."""

from linetender.core.plan import Arrangement, Heading
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.simulation.slow_losses import (
    LEFT_OUT,
    SLOW_HAZARDS,
    STALE_AIR,
    TRIED,
    false_of,
    gains_of,
    with_tried,
)

DEFAULT = load_station(shipped("config/scenarios/stations/wearer_side.toml")).plan
PLAN = with_tried(DEFAULT)
SHIPPED = "air heading 120 s, rough"


def test_the_default_rule_is_one_of_those_tried() -> None:
    (rule,) = [rule for rule in DEFAULT.rules if rule.id == LEFT_OUT]
    assert isinstance(rule.condition, Heading)
    assert rule.condition == TRIED[SHIPPED][0]
    assert rule.on_delay_ns == TRIED[SHIPPED][1] * 1e9
    ids = [rule.id for rule in PLAN.rules]
    assert LEFT_OUT not in ids
    assert ids[-len(TRIED) :] == list(TRIED)


def test_a_filter_that_loads_is_told_sooner_and_nothing_too_early() -> None:
    (loading,) = [hazard for hazard in SLOW_HAZARDS if hazard.name == "filter loading"]
    gains = gains_of(PLAN, loading, range(1, 3))
    assert all(sooner_s > 10.0 for sooner_s in gains[SHIPPED].sooner_s)
    assert len(gains[SHIPPED].sooner_s) == 2
    for gain in gains.values():
        assert gain.early == 0
        assert gain.untold + gain.alone + len(gain.sooner_s) == 2


def test_intake_air_that_goes_bad_is_for_the_rules_of_oxygen() -> None:
    gains = gains_of(PLAN, STALE_AIR, range(1, 2))
    told = {name for name, gain in gains.items() if gain.sooner_s or gain.alone}
    assert told == {name for name in TRIED if name.startswith("oxygen")}


def test_an_hour_of_ordinary_use_sets_none_off() -> None:
    assert PLAN.arrangement is Arrangement.WEARER_SIDE
    assert false_of(PLAN, 1, 1) == dict.fromkeys(TRIED, 0)
