"""The pre-use check in the terminal, and its card: what is said, and that it fits."""

from io import StringIO

import pytest
from rich.console import Console

from linetender.annunciation.check_card import check_card
from linetender.annunciation.check_words import step_words
from linetender.cli.check_view import draw_check
from linetender.core.events import Demand, StepState
from linetender.core.instants import SECOND_NS as S
from linetender.core.pre_use import CheckState
from linetender.core.snapshot import CheckView, Snapshot, StepView
from linetender.core.stages import Stage
from linetender.core.step_plan import STEP_CODES, StepKind
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped

WAITING, MET = StepState.WAITING, StepState.MET
FAILED, SKIPPED = StepState.FAILED, StepState.SKIPPED


def step(
    kind: StepKind,
    state: StepState,
    why: str = "",
    done: float = 0.0,
    needed: float = 1.0,
    left_s: int = 200,
) -> StepView:
    return StepView(kind.value, kind, state, why, done, needed, left_s * S)


STEPS = (
    step(StepKind.CHECKLIST, MET, "button"),
    step(StepKind.ZERO, SKIPPED, "the fan ran already"),
    step(StepKind.AIR, MET),
    step(StepKind.PURGE, WAITING, "", 41.0, 120.0),
    StepView("spo2_percent", StepKind.BASELINE, WAITING, "", 12.0, 30.0, 45 * S),
    StepView("far_end_kitchen", StepKind.FAR_END, WAITING, "", 0.0, 1.0, 80 * S),
    step(StepKind.DISK, WAITING, "12 MB free, 200 expected"),
    step(StepKind.HEARD, WAITING),
)


def shown(check: CheckView, *, width: int = 80, colour: bool = False) -> list[str]:
    snapshot = Snapshot(0, Stage.PRE_USE, 0, (), (), Demand(), True, None, check=check)
    out = StringIO()
    console = Console(
        file=out, width=width, force_terminal=colour, color_system="standard" if colour else None
    )
    console.print(draw_check(snapshot, "shed", width))
    return out.getvalue().splitlines()


def test_a_check_that_runs() -> None:
    assert shown(CheckView(CheckState.RUNNING, STEPS)) == [
        "╭──────────────────────────── shed: pre-use check ─────────────────────────────╮",
        "│ ok      Card read                                                            │",
        "│ skipped Sensor reads zero          the fan ran already                       │",
        "│ ok      Air steady and enough                                                │",
        "│ ...     Line purged                41/120 s, hood still off                  │",
        "│ ...     Oxygen (SpO2)              12/30 s, hand still and warm, 45 s left   │",
        "│ ...     Second box hears: kitchen  it must confirm                           │",
        "│ ...     Room on the disk           12 MB free, 200 expected                  │",
        "│ ...     Test sound heard           after all others, hood on                 │",
        "│                                                                              │",
        "│ The check is running.                                                        │",
        "╰──────────────────────────────────────────────────────────────────────────────╯",
    ]


def test_a_check_that_is_refused_says_what_to_do() -> None:
    steps = (step(StepKind.CHECKLIST, MET), step(StepKind.HEARD, FAILED, "not done in time"))
    text = " ".join(
        " ".join(line.strip("│").split()) for line in shown(CheckView(CheckState.REFUSED, steps))
    )
    assert "FAILED Test sound heard not done in time: move the siren nearer" in text
    assert "REFUSED (code 2-2): NOT CHECKED; watched all the same." in text
    assert "linetender pre-use --override heard --reason TEXT" in text


@pytest.mark.parametrize("state", [CheckState.RUNNING, CheckState.READY, CheckState.REFUSED])
@pytest.mark.parametrize("width", [80, 60])
def test_it_fits_with_and_without_colour(state: CheckState, width: int) -> None:
    check = CheckView(state, STEPS, awaits_sound=state is CheckState.RUNNING)
    plain, coloured = shown(check, width=width), shown(check, width=width, colour=True)
    assert max(map(len, plain)) == width
    assert "\x1b" not in "".join(plain)
    assert "\x1b[" in "".join(coloured)


@pytest.mark.parametrize("kind", StepKind)
def test_every_step_has_words_that_fit_and_a_code_of_its_own(kind: StepKind) -> None:
    words = step_words(kind, kind.value)
    assert 0 < len(words.title) <= 28
    assert 0 < len(words.waits) <= 40
    assert words.mend
    assert list(STEP_CODES.values()).count(STEP_CODES[kind]) == 1
    assert all(1 <= number <= 4 for number in STEP_CODES[kind])


@pytest.mark.parametrize(
    "name", ["wearer_side_minimal", "wearer_side_calibrated", "fan_side_orifice", "demo"]
)
def test_the_card_speaks_of_the_fitted_parts_alone(name: str) -> None:
    plan = load_station(shipped(f"config/{name}.toml")).plan
    card = check_card(plan)
    assert max(map(len, card.splitlines())) <= 78
    for kind, code in STEP_CODES.items():
        has = any(one.kind is kind for one in plan.steps)
        assert ("\n" + "-".join(map(str, code)) + "  " in card) is has
