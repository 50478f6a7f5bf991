"""What is usual for this wearer, shared by the rules that compare with it."""

from linetender.core.signals import Signal

Baselines = dict[Signal, float | None]
"""Per signal the median taken in the pre-use check, in the signal's unit; None before."""
