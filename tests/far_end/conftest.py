"""Fixtures for the second box."""

from mosquitto_broker import mosquitto, witness

__all__ = ["mosquitto", "witness"]
