"""Sensors of the air around."""
