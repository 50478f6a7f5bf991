"""Makes the table and the state diagram of the core's manual from the one literal table."""

from linetender.core.alarm_table import AFTER, SOUNDING, AlarmEvent, AlarmState

LETTERS = dict(zip(AlarmState, "ABCDEFGHI", strict=True))
"""The letters of ISA-18.2, in the order of the enum."""

BEGIN = "<!-- made from alarm_table.py: begin -->"
END = "<!-- made from alarm_table.py: end -->"

_AWAY = {AlarmEvent.SHELVE, AlarmEvent.REMOVE}
_BACK = {AlarmEvent.RELEASE_PRESENT, AlarmEvent.RELEASE_ABSENT}
"""Shelving and maintenance are left out of the picture, not of the table: they would
cross every other line. Of the ways back only those from suppression are drawn."""


_DRAWN = set(AlarmState) - {AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE}


def block() -> str:
    """Return the part of the README that is made, its two marks included."""
    return "\n".join([BEGIN, "", *_table(), "", "```mermaid", *_diagram(), "```", "", END])


def _table() -> list[str]:
    """One row per event: the columns are then only nine letters wide."""
    states = [f"{LETTERS[state]}" for state in AlarmState]
    lines = [f"| event | {' | '.join(states)} |", "|---" * (len(states) + 1) + "|"]
    for event in AlarmEvent:
        cells = [
            "·" if AFTER[state][event] is state else LETTERS[AFTER[state][event]]
            for state in AlarmState
        ]
        lines.append(f"| `{event.value}` | {' | '.join(cells)} |")
    names = [
        f"{LETTERS[state]} {state.value}{' (sounds)' if state in SOUNDING else ''}"
        for state in AlarmState
    ]
    return [*lines, "", "A dot keeps the state. " + ", ".join(names) + "."]


def _diagram() -> list[str]:
    """Arrows of the same start and end share one line."""
    labels: dict[tuple[AlarmState, AlarmState], list[str]] = {}
    for state in AlarmState:
        for event in AlarmEvent:
            after = AFTER[state][event]
            is_drawn = event not in _AWAY and (event not in _BACK or state is AlarmState.SUPPRESSED)
            if after is not state and is_drawn and state in _DRAWN:
                labels.setdefault((state, after), []).append(event.value)
    return [
        "stateDiagram-v2",
        *(f"  {LETTERS[s]}: {LETTERS[s]} {s.value}" for s in AlarmState if s in _DRAWN),
        f"  [*] --> {LETTERS[AlarmState.NORMAL]}",
        *(
            f"  {LETTERS[before]} --> {LETTERS[after]}: {', '.join(events)}"
            for (before, after), events in labels.items()
        ),
    ]
