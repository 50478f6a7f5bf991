"""How sure the airflow is stands beside it in every snapshot."""

import msgspec

from core.watching import plan
from linetender.annunciation.payloads import Wall, encode, state_payload
from linetender.core.inputs import reading
from linetender.core.plan import AirPlan, Plan
from linetender.core.signals import Signal
from linetender.core.snapshot import SignalView, Snapshot
from linetender.core.watch import Watch

CALIBRATED = AirPlan(
    Signal.HOOD_PRESSURE_PA,
    60.0,
    0.5,
    k_l_min=32.0,
    relative_uncertainty=0.04,
    required_l_min=170.0,
)


def seen(air: AirPlan | None, value: float | None) -> tuple[Plan, Snapshot]:
    """Return a plan and its snapshot after one reading of 64 Pa, or a failed one."""
    made = msgspec.structs.replace(plan(air=True), air=air)
    watch = Watch(made, 0)
    reason = "nack" if value is None else None
    watch.feed(reading(1_000_000, Signal.HOOD_PRESSURE_PA, value, reason))
    return made, watch.snapshot()


def views(snapshot: Snapshot) -> dict[Signal, SignalView]:
    return {view.signal: view for view in snapshot.signals}


def test_the_airflow_carries_its_uncertainty_and_nothing_else_does() -> None:
    _, snapshot = seen(CALIBRATED, 64.0)
    flow = views(snapshot)[Signal.AIRFLOW_L_MIN]
    assert (flow.value, flow.uncertainty) == (256.0, 10.2)
    others = [
        view.uncertainty
        for name, view in views(snapshot).items()
        if name is not Signal.AIRFLOW_L_MIN
    ]
    assert set(others) == {None}


def test_a_failed_reading_has_none() -> None:
    _, snapshot = seen(CALIBRATED, None)
    flow = views(snapshot)[Signal.AIRFLOW_L_MIN]
    assert (flow.value, flow.uncertainty) == (None, None)


def test_a_taught_line_has_no_flow_at_all() -> None:
    _, snapshot = seen(AirPlan(Signal.HOOD_PRESSURE_PA, 60.0, 0.5), 64.0)
    assert Signal.AIRFLOW_L_MIN not in views(snapshot)


def test_the_broker_is_told_it_where_it_is_known() -> None:
    made, snapshot = seen(CALIBRATED, 64.0)
    payload = state_payload("00000001", 1, Wall("2031-03-04T10:15:00+01:00", True), snapshot, made)
    signals = msgspec.json.decode(encode(payload))["signals"]
    assert signals["airflow_l_min"]["uncertainty"] == 10.2
    assert "uncertainty" not in signals["hood_pressure_pa"]
