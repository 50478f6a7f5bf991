"""Refusals shared by the physics: a quantity that is no finite number, or not above 0."""

import math


def require_finite(what: str, quantity: float, unit: str) -> None:
    """Raise ValueError unless a quantity is a finite number."""
    if not math.isfinite(quantity):
        raise ValueError(f"{what} {quantity} {unit} is not a finite number")


def require_positive(what: str, quantity: float, unit: str) -> None:
    """Raise ValueError unless a quantity is finite and above 0."""
    if not 0.0 < quantity < math.inf:
        raise ValueError(f"{what} {quantity} {unit} is not above 0")


def require_not_negative(what: str, quantity: float, unit: str) -> None:
    """Raise ValueError unless a quantity is finite and 0 or more."""
    if not 0.0 <= quantity < math.inf:
        raise ValueError(f"{what} {quantity} {unit} is negative or not finite")
