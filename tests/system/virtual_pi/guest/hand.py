"""What a person's hand does at the box: button, hook and the fan's plug."""

import time

from switch_panel import SwitchPanel

PRESSED, RELEASED, HUNG, MAINS = 4, 6, 7, 1
"""Pins of the button's two contacts, of the hook and of the fan's mains, as in shed.toml."""

TAP_S = 0.4
"""Long enough to be seen by an emulated computer, and far from a call for help (2 s)."""

REACTION_S = 0.6
"""A press answers what sounded 0.3 s before."""


class Hand:
    """The hand; the button is let go at first.

    Args:
        is_in_use: Whether hood and plug are where they are in use; else the hood hangs on its
            hook and the fan is off.
    """

    def __init__(self, *, is_in_use: bool) -> None:
        self._panel = SwitchPanel()
        self._panel.close_switch(RELEASED)
        if is_in_use:
            self.plug_in()
        else:
            self.hang_hood()

    def press(self) -> None:
        """Tap the button."""
        time.sleep(REACTION_S)
        self._panel.open_switch(RELEASED)
        self._panel.close_switch(PRESSED)
        time.sleep(TAP_S)
        self._panel.open_switch(PRESSED)
        self._panel.close_switch(RELEASED)

    def break_wire(self) -> None:
        """Tear off the button's wire to ground, which both contacts share."""
        self._panel.open_switch(RELEASED)

    def mend_wire(self) -> None:
        """Put it on again."""
        self._panel.close_switch(RELEASED)

    def lift_hood(self) -> None:
        """Take the hood off its hook."""
        self._panel.open_switch(HUNG)

    def hang_hood(self) -> None:
        """Hang it up."""
        self._panel.close_switch(HUNG)

    def plug_in(self) -> None:
        """Give the fan its mains."""
        self._panel.close_switch(MAINS)

    def pull_plug(self) -> None:
        """Take them away."""
        self._panel.open_switch(MAINS)
