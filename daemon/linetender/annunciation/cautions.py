"""The standing cautions, in one place.

Shown at the start of `demo` and `run`, in `linetender --help`, in reports and in
README.md (a test compares). The order is the order of their weight.
"""

from typing import NamedTuple


class Caution(NamedTuple):
    """One thing that everybody near the line must know.

    Attributes:
        short: A few words, for a terminal that shows much else.
        full: One or two whole sentences.
    """

    short: str
    full: str


CAUTIONS = (
    Caution(
        "Air stops, oxygen falls or you feel wrong: leave, then take the hood off.",
        "If air stops, oxygen falls or the body feels wrong, leave the contaminated area, "
        "then take the hood off.",
    ),
    Caution(
        "Helpers must not go in without clean air of their own.",
        "Whoever comes to help must not go in without clean air of their own.",
    ),
    Caution(
        "Silence of this tool proves nothing.",
        "Silence of this tool proves nothing: it may be off, broken, or out of earshot.",
    ),
    Caution(
        "Not a certified respirator, not a medical device, no protection factor.",
        "This is not a certified respirator and not a medical device, and no protection factor "
        "may be claimed for it.",
    ),
    Caution(
        "An oximeter sees no carbon monoxide or dioxide, and lags by half a minute.",
        "A pulse oximeter cannot see carbon monoxide or carbon dioxide, and it lags by half a "
        "minute.",
    ),
    Caution(
        "Particle filters stop no gas and no vapour.",
        "Particle filters stop no gas and no vapour.",
    ),
    Caution(
        "Local rules and licensed practice go first.",
        "Local rules and licensed practice go first.",
    ),
)
