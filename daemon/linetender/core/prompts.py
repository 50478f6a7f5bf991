"""What is put to the wearer besides alarms: one cue at a time, for a while."""

from linetender.core.events import Cue
from linetender.core.instants import NEVER_NS


class Prompts:
    """The cue of now. Alarms go before it: a sounder plays it only while nothing else sounds.

    Attributes:
        cue: What is put; NONE for nothing.
        code: For CODE: numbers of chirps and blinks.
        until_ns: When it ends by itself.
        asks_hood: Whether "was the hood on?" is being asked after a power cut. Until
            that is answered nothing leaves the room.
    """

    __slots__ = ("asks_hood", "code", "cue", "until_ns")

    INSTANTS = ("until_ns",)
    VALUES = ("cue", "asks_hood")
    LISTS = ("code",)

    def __init__(self) -> None:
        self.cue = Cue.NONE
        self.code: list[int] = []
        self.until_ns = NEVER_NS
        self.asks_hood = False

    def put(self, cue: Cue, until_ns: int, code: tuple[int, ...] = ()) -> None:
        """Put a cue from now on, in place of any other."""
        self.cue, self.until_ns, self.code = cue, until_ns, list(code)

    def take_back(self, *cues: Cue) -> None:
        """End a cue; of those named only, where any are."""
        if not cues or self.cue in cues:
            self.cue, self.until_ns, self.code = Cue.NONE, NEVER_NS, []

    def fall_due(self, now_ns: int) -> None:
        """End what has lasted its time."""
        if self.until_ns <= now_ns:
            self.take_back()
