"""Ninety invented seconds: an ordinary start, a crushed duct, a fan that stops."""

from linetender.simulation.script import Crush, End, Order, Script, WorldChange, at, press

FAN_STOPS_S = 70.0
"""When the hazard begins (s); the loss-of-air alarm is measured from here."""

DEMO_SCRIPT = Script(
    (
        at(0.0, WorldChange.FAN_START),
        at(10.0, WorldChange.HOOD_ON),
        at(10.0, Order.START),
        # The demo's station tightens the rule for falling air, so that this is both
        # told and over before the fan stops.
        at(45.0, Crush(0.5)),
        at(57.0, Crush(0.0)),
        at(FAN_STOPS_S, WorldChange.FAN_STOP),
        *press(77.0, "answer"),
        at(84.0, WorldChange.HOOD_OFF),
        at(84.0, Order.OUT),
        at(90.0, End()),
    )
)
