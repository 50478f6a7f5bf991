"""Leads a person through a proof test at a terminal: says, waits, marks, and asks."""

import math
import time
from collections.abc import Callable
from typing import Protocol

from linetender.cli.proof_words import WORDS, outcome_line, step_lines, title_of
from linetender.core.proof import ASKED, ProofKind, ProofResult, ProofStep
from linetender.memory.proofs import ProofRecord
from linetender.runtime.control_messages import Arguments
from linetender.runtime.proof_messages import Deed, ProofState, ProofView

POLL_S = 0.5
"""The station is asked so often (real s, chosen); the times are its own."""

AGAIN, SKIP, STOP, NOTHING = "r", "s", "q", "n"


class NotDone(RuntimeError):
    """The station refuses; the message says why."""


class Stopped(RuntimeError):
    """The person wants no more steps."""


class Typed(Protocol):
    """Who types."""

    def take(self, within_s: float | None) -> str | None:
        """Return a line, or None if none came within so long (s); EOFError at the end."""


class ProofGuide:
    """One proof test.

    Args:
        ask: Does a deed at the station and returns how it stands; raises `NotDone`.
        typed: Who types.
        say: Tells a line.

    Attributes:
        done: What each step came to, by its name.
        say: As given.
    """

    def __init__(
        self,
        ask: Callable[[Arguments], ProofView],
        typed: Typed,
        say: Callable[[str], None],
    ) -> None:
        self._ask = ask
        self._typed = typed
        self.say = say
        self.done: dict[str, ProofRecord] = {}

    def settle_pending(self, view: ProofView) -> None:
        """Ask what came of the plugs that were pulled before the station ended."""
        last = {one.step: one for one in view.kept}
        for step in view.steps:
            one = last.get(step.kind.value)
            if one is not None and one.result == ProofResult.PENDING:
                self.say(f"On {one.ended_at[:10]}: {title_of(one.step)}.")
                self._ask_seconds(step, "it was not pulled, or ask again later")

    def lead(self, steps: tuple[ProofStep, ...]) -> None:
        """Go through steps.

        Raises:
            Stopped: the person has enough.
            EOFError, KeyboardInterrupt: likewise.
            NotDone: the station refuses.
        """
        for number, step in enumerate(steps, start=1):
            for line in step_lines(step, number, len(steps)):
                self.say(line)
            while self._one(step) == AGAIN:
                pass

    def _one(self, step: ProofStep) -> str:
        if step.kind is ProofKind.WALK:
            return self._walk(step)
        said = self._choice(f"  Enter: go on.  {SKIP} WHY: skip it.  {STOP}: stop here.")
        if said.split(" ")[0] == SKIP:
            return self._skip(step, said)
        if step.kind in ASKED:
            return self._pull_box(step)
        return self._timed(step)

    # A step that the station times

    def _timed(self, step: ProofStep) -> str:
        name, words = step.kind.value, WORDS[step.kind]
        self._ask(Arguments(step=name, deed=Deed.BEGIN))
        try:
            view = self._until_armed()
            if view.state is ProofState.ARMED:
                self.say(f"  Ready. {words.now}, and press Enter at that moment")
                self.say("  (or the station's button). It listens for the sound.")
                self.say(
                    f"  {NOTHING}: it was done, and nothing sounds.  {STOP}: give this step up."
                )
                view = self._until_heard(view)
            self._note(view, name)
            if view.state is not ProofState.DONE:
                self.say(f"  Not done: {view.why or 'given up'}.")
                return ""
            said = self._choice(
                f"  {words.after} Then Enter; {AGAIN}: once more.  {STOP}: stop here.", ends=False
            )
        finally:
            self._ask(Arguments(deed=Deed.FINISH))
        self._until_restored()
        if said == STOP:
            raise Stopped
        return said

    def _until_armed(self) -> ProofView:
        told = ""
        while True:
            view = self._ask(Arguments())
            if view.state is not ProofState.WAITING:
                return view
            if view.why and view.why != told:
                told = view.why
                self.say(f"  Waiting: {told}.")
            if self._typed.take(POLL_S) == STOP:
                raise Stopped

    def _until_heard(self, view: ProofView) -> ProofView:
        while view.state in (ProofState.ARMED, ProofState.CAUSED):
            said = self._typed.take(POLL_S)
            if said == STOP:
                return self._ask(Arguments(deed=Deed.FINISH))
            was_armed = view.state is ProofState.ARMED
            view = self._ask(Arguments())
            if view.state not in (ProofState.ARMED, ProofState.CAUSED):
                break
            if said == NOTHING:
                view = self._ask(Arguments(deed=Deed.SILENT))
            elif said is not None and view.state is ProofState.ARMED:
                view = self._ask(Arguments(deed=Deed.MARK))
            if was_armed and view.state is ProofState.CAUSED:
                self.say("  Marked; listening for the sound.")
        return view

    def _until_restored(self) -> None:
        told = False
        while self._ask(Arguments()).state is ProofState.RESTORING:
            if not told:
                self.say("  Alarms are answered until the air is back.")
                told = True
            if self._typed.take(POLL_S) == STOP:
                raise Stopped

    # Steps that people time

    def _walk(self, step: ProofStep) -> str:
        said = self._choice(
            "  Enter as you set off, Enter again when out; or SECONDS by your own watch.\n"
            f"  {SKIP} WHY: skip it.  {STOP}: stop here."
        )
        if said.split(" ")[0] == SKIP:
            return self._skip(step, said)
        seconds = seconds_of(said)
        if seconds is None and not said:
            begun_s = time.monotonic()
            self._choice("  Walking. Enter when out.")
            seconds = time.monotonic() - begun_s
        if not seconds:
            self.say(f"  {said!r} is no number of seconds.")
            return AGAIN
        self.tell(step, seconds)
        return ""

    def _pull_box(self, step: ProofStep) -> str:
        name, words = step.kind.value, WORDS[step.kind]
        self._ask(Arguments(step=name, deed=Deed.BEGIN))
        self.say(f"  {words.now}. {words.after}")
        self.say("  If this screen ends with it, type linetender proof again: it will ask.")
        try:
            self._ask_seconds(step, "not pulled after all")
        finally:
            self._ask(Arguments(deed=Deed.FINISH))
        return ""

    def _ask_seconds(self, step: ProofStep, otherwise: str) -> None:
        while True:
            said = self._choice(
                "  After how many SECONDS did something sound elsewhere?\n"
                f"  {NOTHING}: nothing sounded.  Enter: {otherwise}.  {STOP}: stop here."
            )
            if not said:
                return
            seconds = seconds_of(said)
            if seconds is not None or said == NOTHING:
                self.tell(step, seconds)
                return
            self.say(f"  {said!r} is no number of seconds.")

    def tell(self, step: ProofStep, seconds: float | None) -> None:
        """Tell the station what a person's own watch showed (s); None: nothing sounded."""
        name = step.kind.value
        self._note(self._ask(Arguments(step=name, deed=Deed.TOLD, seconds=seconds)), name)

    # Small

    def _skip(self, step: ProofStep, said: str) -> str:
        reason = said[len(SKIP) :].strip()
        if not reason:
            self.say(f"  A step is skipped for a reason: {SKIP} WHY.")
            return AGAIN
        name = step.kind.value
        self._note(self._ask(Arguments(step=name, deed=Deed.SKIP, reason=reason)), name)
        return ""

    def _choice(self, question: str, *, ends: bool = True) -> str:
        self.say(question)
        said = self._typed.take(None) or ""
        if said == STOP and ends:
            raise Stopped
        return said

    def _note(self, view: ProofView, name: str) -> None:
        one = view.outcome
        if one is not None and one.step == name and view.state is not ProofState.RESTORING:
            self.done[name] = one
            self.say(f"  {outcome_line(one)}")


def seconds_of(said: str) -> float | None:
    """Return what somebody typed as seconds (0 to 3600), or None."""
    try:
        seconds = float(said.removesuffix("s").replace(",", "."))
    except ValueError:
        return None
    return seconds if math.isfinite(seconds) and 0.0 <= seconds <= 3600.0 else None
