"""The steps of the pre-use check in words: what each waits for, and what to do when it fails."""

from typing import NamedTuple

from linetender.core.signals import Signal
from linetender.core.step_plan import StepKind

SPO2 = Signal.SPO2_PERCENT.value


class StepWords(NamedTuple):
    """One step.

    Attributes:
        title: What it is, up to 28 characters.
        waits: What is awaited, or must be done, up to 40 characters; 28 where seconds count.
        mend: What to do when it fails.
    """

    title: str
    waits: str
    mend: str


_WORDS: dict[StepKind, StepWords] = {
    StepKind.CHECKLIST: StepWords(
        "Card read",
        "go through it, then tap once",
        "take the card, do what it says, tap again",
    ),
    StepKind.ZERO: StepWords(
        "Sensor reads zero",
        "judged with the fan off",
        "look at both tubes and for water in them; measure the zero: linetender calibrate",
    ),
    StepKind.AIR: StepWords(
        "Air steady and enough",
        "fan on, set its speed",
        "look at fan, filter, duct and hose; turn the fan up",
    ),
    StepKind.PURGE: StepWords(
        "Line purged",
        "hood still off",
        "leave the fan at one speed and wait",
    ),
    StepKind.BASELINE: StepWords(
        "Oximeter reads well",
        "hand still and warm",
        "warm the hand, another finger, fresh battery; under 92 % do not start",
    ),
    StepKind.SUPPLY: StepWords(
        "Box's battery", "its voltage is measured", "charge or change the battery"
    ),
    StepKind.ARMED: StepWords(
        "ARM switch on", "switch ARM on", "switch ARM on; else look at its wire"
    ),
    StepKind.LAMP: StepWords(
        "Lamps seen to flash",
        "the tap for the card says so",
        "look at lamp and wire: linetender test-alarm",
    ),
    StepKind.HEARD: StepWords(
        "Test sound heard",
        "after all others, hood on",
        "move the siren nearer, turn it up; listen again, hood on",
    ),
    StepKind.FAR_END: StepWords(
        "Second box hears",
        "it must confirm",
        "switch the box on; look at the network and the broker",
    ),
    StepKind.BROKER: StepWords(
        "Broker passes messages on",
        "a word to itself must come back",
        "look at the broker and its access list",
    ),
    StepKind.RECORDING: StepWords(
        "Session is recorded", "the file must take lines", "look at the disk and its permissions"
    ),
    StepKind.DISK: StepWords(
        "Room on the disk", "200 MB free", "delete what is not needed, or another card"
    ),
    StepKind.CALIBRATION: StepWords(
        "Calibration in date", "its date is compared", "teach and calibrate anew"
    ),
    StepKind.FILTER: StepWords(
        "Filter in date", "its date is compared", "change it: linetender filter changed"
    ),
    StepKind.PROOF: StepWords(
        "Proof test in date", "its date is compared", "prove the line: linetender proof"
    ),
}


def step_words(kind: StepKind, name: str) -> StepWords:
    """Return the words of a step.

    Args:
        kind: What it looks at.
        name: Its id: it tells one second box, or signal of the wearer, from another.
    """
    words = _WORDS[kind]
    if kind is StepKind.FAR_END:
        return words._replace(title=f"{words.title}: {name.removeprefix('far_end_')}"[:28])
    if kind is StepKind.BASELINE:
        return words._replace(title="Oxygen (SpO2)" if name == SPO2 else "Pulse")
    return words
