"""Analogue-to-digital converters that several drivers share."""
