"""Marks of alarms over a plot: numbers as in the list, joined where they would overlap."""

from dataclasses import dataclass

from linetender.core.stages import Priority
from linetender.reports.session_facts import Episode

_PER_LETTER = 8.5  # of a bold 13 px label, in px
_ROOM = 14.0


@dataclass(frozen=True)
class Label:
    """One label for an alarm or several that stand close together.

    Attributes:
        x: Its middle.
        width: Its width.
        text: Number, or first and last number.
        is_leave: Whether one of them told to leave.
    """

    x: float
    width: float
    text: str
    is_leave: bool


def labels(alarms: tuple[Episode, ...], xs: list[float], left: float, right: float) -> list[Label]:
    """Place the labels of alarms between two edges, so that none covers another.

    Args:
        alarms: In the order of time.
        xs: Where each stands.
        left: Leftmost point that a label may cover.
        right: Rightmost.
    """
    groups = [([alarm], [x]) for alarm, x in zip(alarms, xs, strict=True)]
    joined = True
    while joined:
        joined = False
        placed = [_label(group, middle, left, right) for group, middle in groups]
        for place in range(len(placed) - 1):
            here, after = placed[place], placed[place + 1]
            if here.x + here.width / 2 + 2 > after.x - after.width / 2:
                group, middle = groups.pop(place + 1)
                groups[place][0].extend(group)
                groups[place][1].extend(middle)
                joined = True
                break
    return [_label(group, middle, left, right) for group, middle in groups]


def _label(group: list[Episode], xs: list[float], left: float, right: float) -> Label:
    first, last = group[0].number, group[-1].number
    text = str(first) if first == last else f"{first}–{last}"
    width = len(text) * _PER_LETTER + _ROOM
    middle = min(max(sum(xs) / len(xs), left + width / 2), right - width / 2)
    return Label(middle, width, text, any(one.priority == Priority.HIGH for one in group))
