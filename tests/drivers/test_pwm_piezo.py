"""The piezo over files that stand for the kernel's PWM chip."""

from pathlib import Path
from types import SimpleNamespace

import pytest

from linetender_drivers.buses.pwm import EXPORT_S, EXPORT_STEPS
from linetender_drivers.errors import DeviceNotFound, DriverError, FailureReason
from linetender_drivers.outputs.pwm_piezo_spec import SPEC
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

CHANNEL_FILES = ("enable", "period", "duty_cycle")


def chip_in(folder: Path, *, has_channel: bool = True, left: str = "0") -> Path:
    chip = folder / "pwmchip2"
    chip.mkdir()
    for name in ("export", "unexport"):
        (chip / name).touch()
    if has_channel:
        (chip / "pwm1").mkdir()
        for name in CHANNEL_FILES:
            (chip / "pwm1" / name).write_text(left)
    return chip


def piezo_in(folder: Path):
    options = SPEC.options.model_validate({"chip": 2, "channel": 1, "folder": str(folder)})
    return SPEC.opener()("siren", options, SimpleNamespace(clock=VirtualClock()), ("buzzer",))


def channel_of(chip: Path) -> tuple[str, ...]:
    return tuple((chip / "pwm1" / name).read_text() for name in CHANNEL_FILES)


def test_the_wave_is_set_before_it_sounds_and_ends_with_the_device(tmp_path: Path) -> None:
    async def scene() -> list[str]:
        piezo = piezo_in(tmp_path)
        await piezo.open()
        seen = [channel_of(chip)[0]]
        for on in (True, False, True):
            piezo.write(on)
            seen.append(channel_of(chip)[0])
        await piezo.close()
        await piezo.close()
        return [*seen, channel_of(chip)[0]]

    chip = chip_in(tmp_path)
    assert run_virtual(scene()) == ["0", "1", "0", "1", "0"]
    # 1 s / 2700 = 370 370 ns, half of it high.
    assert (chip / "pwm1" / "period").read_text() == "370370"
    assert (chip / "pwm1" / "duty_cycle").read_text() == "185185"
    assert (chip / "unexport").read_text() == "1"


def test_a_wave_that_a_crash_left_is_silent_once_it_is_open(tmp_path: Path) -> None:
    chip = chip_in(tmp_path, left="1")
    run_virtual(piezo_in(tmp_path).open())
    assert channel_of(chip) == ("0", "370370", "185185")


def test_a_channel_that_the_kernel_never_shows_is_an_error_in_bounded_time(tmp_path: Path) -> None:
    async def scene() -> float:
        with pytest.raises(DriverError, match="Is the channel one of this chip"):
            await piezo_in(tmp_path).open()
        return VirtualClock().now_ns() / 1e9

    chip = chip_in(tmp_path, has_channel=False)
    assert run_virtual(scene()) == pytest.approx(EXPORT_S * EXPORT_STEPS)
    assert (chip / "export").read_text() == "1"


def test_no_chip_and_not_open_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(DeviceNotFound, match="dtoverlay=pwm"):
        run_virtual(piezo_in(tmp_path).open())
    with pytest.raises(DriverError) as refused:
        piezo_in(tmp_path).write(True)
    assert refused.value.reason is FailureReason.CLOSED
