"""The scenario that `linetender demo` plays when none is named."""

from linetender.settings.shipped import shipped
from linetender.simulation.scenario import load_scenario

DEMO = load_scenario(shipped("config/scenarios/demo.toml"))
DEMO_SCRIPT = DEMO.script

FAN_STOPS_S = DEMO.hazard_s or 0.0
"""When the hazard begins (s); the loss-of-air alarm is measured from here."""
