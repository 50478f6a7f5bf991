"""The pre-use check in a terminal: each step with its progress, and what to do; 80 columns."""

from rich.console import Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from linetender.annunciation.check_words import step_words
from linetender.core.events import StepState
from linetender.core.instants import SECOND_NS, to_seconds
from linetender.core.pre_use import CheckState
from linetender.core.snapshot import CheckView, Snapshot, StepView
from linetender.core.stages import Stage
from linetender.core.step_plan import STEP_CODES, StepKind

_WIDTH = 80

SHORT_NS = 60 * SECOND_NS
"""The time that is left is shown when it gets short."""

_STATE_WORDS = {
    StepState.WAITING: ("...", ""),
    StepState.MET: ("ok", "green"),
    StepState.FAILED: ("FAILED", "bold red"),
    StepState.SKIPPED: ("skipped", "yellow"),
}


def draw_check(snapshot: Snapshot, title: str, width: int) -> RenderableType:
    """Return the view of a station's check.

    Args:
        snapshot: How the station stands.
        title: Said in the frame.
        width: Columns of the terminal.
    """
    check = snapshot.check
    table = Table.grid(padding=(0, 1))
    table.add_column(min_width=7, no_wrap=True)
    table.add_column(min_width=26, no_wrap=True, max_width=28)
    table.add_column(overflow="fold")
    for step in check.steps:
        word, style = _STATE_WORDS[step.state]
        table.add_row(
            Text(word, style=style), step_words(step.kind, step.id).title, _remark(check, step)
        )
    body = Group(table, Text(), Text(verdict(snapshot), style=_style(check)))
    return Panel(body, title=f"{title}: pre-use check", width=min(_WIDTH, width))


def verdict(snapshot: Snapshot) -> str:
    """Return one line on how the check stands as a whole."""
    check = snapshot.check
    if check.state is CheckState.RUNNING:
        if check.awaits_sound:
            return "Put the hood on. Tap within 5 s of the test sound."
        return "The check is running."
    if check.state is CheckState.READY:
        hands = f"{to_seconds(check.hands_on_ns):.0f} s hands-on"
        return f"READY ({hands}). Hood off its hook, or one tap, begins the use."
    if check.state is CheckState.PASSED:
        return "Passed. The hood is worn, and watched."
    if check.state is CheckState.REFUSED:
        return _refusal(check, is_worn=snapshot.stage is Stage.WORN)
    return "No check runs. NOT CHECKED."


def _refusal(check: CheckView, *, is_worn: bool) -> str:
    failed = [step for step in check.steps if step.state is StepState.FAILED]
    watched = "worn and watched all the same" if is_worn else "watched all the same"
    if not failed:
        return f"The check was not finished. NOT CHECKED; {watched}."
    step = failed[0]
    code = "-".join(str(number) for number in STEP_CODES[step.kind])
    return (
        f"REFUSED (code {code}): NOT CHECKED; {watched}. Mend it and begin anew, or go on "
        f"without: linetender pre-use --override {step.id} --reason TEXT"
    )


def _style(check: CheckView) -> str:
    if check.state is CheckState.REFUSED:
        return "bold red"
    return "bold green" if check.state in (CheckState.READY, CheckState.PASSED) else "bold"


def _remark(check: CheckView, step: StepView) -> str:
    words = step_words(step.kind, step.id)
    if step.state is StepState.MET:
        return "" if step.why == "button" else step.why
    if step.state is StepState.SKIPPED:
        return step.why
    if step.state is StepState.FAILED:
        return f"{step.why}: {words.mend}"
    if check.state is not CheckState.RUNNING:
        return "not reached"
    if step.kind is StepKind.HEARD and check.awaits_sound:
        return "hood on, tool running: tap when it sounds"
    parts = [f"{step.done:.0f}/{step.needed:.0f} s"] if step.needed > 1.0 else []
    parts.append(step.why or words.waits)
    if step.left_ns is not None and step.left_ns < SHORT_NS:
        parts.append(f"{to_seconds(step.left_ns):.0f} s left")
    return ", ".join(parts)
