"""The virtual Pi's day: installed as the manual says, used, and put under every fault.

Runs as root in the guest. Air, finger and metal are simulated; the kernel's I2C, GPIO
and Bluetooth, BlueZ, systemd and mosquitto are real, and so is all of linetender.
"""

import contextlib
import ctypes
import itertools
import os
import re
import subprocess
import sys
import time
from pathlib import Path
from random import gauss

from breaking_off import break_off
from check_before_use import begin_the_check, finish_the_check
from checks import Checks, said, sh
from hand import Hand
from i2c_adapter import I2cAdapter
from reset import after_reset, crash_pid_1, is_second_start
from update import update_and_back
from witness import (
    EDGES,
    HOST,
    LAMP,
    LEVELS,
    LIFE,
    NORMAL_PA,
    RECORDINGS,
    SIREN,
    UNIT,
    Witness,
    edges,
    level,
    unit,
)

from linetender.cli.control_client import Unanswered, connect
from linetender.runtime.control_messages import Arguments, Ask
from linetender_drivers.simulated.sdp8xx_chip import Sdp8xxChip

LINETENDER = "/opt/linetender/guest/bin/linetender"
OXIMETER = Path("/run/oximeter")

TURBULENCE_PA = 0.3
"""Standard deviation of the pressure (chosen: under half a percent of the normal one)."""

PTRACE_SEIZE, PTRACE_INTERRUPT, PTRACE_DETACH = 0x4206, 0x4207, 17


class Bench:
    """The simulated parts and the checks.

    Args:
        is_in_use: Whether the hood is worn and the fan runs from the beginning.
    """

    def __init__(self, *, is_in_use: bool = False) -> None:
        self.checks = Checks()
        cpuinfo = Path("/proc/cpuinfo").read_text(encoding="ascii")
        Path("/run/cpuinfo").write_text(f"{cpuinfo}Revision\t: c03115\n", encoding="ascii")
        self.pressure_pa = NORMAL_PA if is_in_use else 0.0
        self.chip = Sdp8xxChip()
        # Air is never still: a reading that does not move would rightly be told.
        self.chip.pressure_pa = lambda _: self.pressure_pa + gauss(0.0, TURBULENCE_PA)
        for module in ("vhci-hcd", "i2c-tiny-usb", "i2c-dev", "hci_vhci", "viperboard"):
            sh(f"modprobe {module}")
        sh("modprobe gpio-viperboard; modprobe hid-cp2112; modprobe uhid")
        python = sys.executable
        self.expander = subprocess.Popen([python, HOST / "pin_expander.py", LEVELS, EDGES])
        OXIMETER.write_text("97 62", encoding="ascii")
        self.oximeter = subprocess.Popen(
            [python, HOST / "oximeter.py"], stdout=(HOST / "oximeter.log").open("w"), stderr=2
        )
        self.checks.within(10, "the expander's pins are there", LEVELS.exists)
        self.hand = Hand(is_in_use=is_in_use)
        self.adapter = I2cAdapter({0x25: self.chip})
        self.checks.within(
            15, "an adapter of the radio appears", Path("/sys/class/bluetooth/hci0").exists
        )
        sh("systemctl start bluetooth")
        self.witness = Witness("shed")

    def run(self) -> int:
        """Do everything but the long checks; return the exit status."""
        for part in (
            self.install,
            self.power_on,
            self.break_the_wire,
            self.begin_the_check,
            self.lose_the_oximeter,
            self.disturb_what_must_not_matter,
            self.walls,
            self.finish_the_check,
            self.lose_air,
            self.pull_the_plug,
            self.unplug_the_sensor,
            self.storm_the_bus,
            self.lose_the_broker,
            self.kill,
            self.stop_the_process,
            self.freeze_the_loop,
            self.stop_in_use,
            self.end,
            self.take_back,
        ):
            said(f"\n{part.__name__.replace('_', ' ')}")
            part()
        return self.checks.summary()

    def install(self) -> None:
        """As systemd/README.md says, but for lgpio, which comes from PyPI here."""
        checks = self.checks
        sh(f"install -D -m 644 {HOST}/shed.toml /etc/linetender/shed.toml")
        sh("ln -s /opt/linetender/current/bin/linetender /usr/local/bin/linetender")
        sh(f"sed -i s,/dev/i2c-1,/dev/i2c-{self.adapter.number}, /etc/linetender/shed.toml")
        shown = sh(f"{LINETENDER} install /etc/linetender/shed.toml")
        checks.now("install shows what it would do", "Nothing was changed" in shown)
        checks.now("and did nothing", not Path("/etc/systemd/system/linetender@.service").exists())
        self._say_it_is_a_pi()
        done = sh(f"{LINETENDER} install /etc/linetender/shed.toml --apply")
        checks.now("install --apply", done.endswith("Done."))
        if not done.endswith("Done."):
            said(done[-2000:])

    def _say_it_is_a_pi(self) -> None:
        """gpiozero asks /proc/cpuinfo which board it is on, and knows no emulated PC."""
        for name in ("linetender@.service", "linetender-siren@.service"):
            folder = Path(f"/etc/systemd/system/{name}.d")
            folder.mkdir(parents=True)
            (folder / "board.conf").write_text(
                "[Service]\nBindReadOnlyPaths=/run/cpuinfo:/proc/cpuinfo\n", encoding="ascii"
            )

    def power_on(self) -> None:
        """From a start to watching."""
        checks, witness = self.checks, self.witness
        checks.within(2, "armed: systemd has heard READY", self.is_active)
        checks.within(5, "online at the broker", lambda: witness.online[-1] == "online")
        checks.within(
            5,
            "pressure by I2C to the broker",
            lambda: abs(witness.signal("hood_pressure_pa") - self.pressure_pa) < 2,
        )
        checks.within(15, "SpO2 by Bluetooth", lambda: witness.signal("spo2_percent") == 97)
        checks.now("the siren is silent", level(SIREN) == 0)
        since_s = time.monotonic()
        time.sleep(5)
        checks.now("the sign of life toggles", len(edges(LIFE, since_s)) in range(6, 13))
        checks.now("and the green lamp with it", len(edges(LAMP, since_s)) in range(6, 13))
        status = unit(UNIT, "StatusText")
        checks.now(f"systemd knows how it stands: {status}", status.startswith("idle"))

    def break_the_wire(self) -> None:
        """The button's common wire comes off before use, and is put on again."""
        checks, witness = self.checks, self.witness
        since_s = time.monotonic()
        self.hand.break_wire()
        rule = "button_wire_broken"
        checks.within(2, "button's wire off: LOOK", lambda: witness.alarm(rule) == "unacknowledged")
        checks.within(2, "and it sounds", lambda: edges(SIREN, since_s))
        self.hand.mend_wire()
        checks.within(8, "mended", lambda: witness.alarm(rule) == "returned_unacknowledged")
        clock = "clock_unsynchronised"
        checks.within(35, "no time of day: LOOK", lambda: witness.alarm(clock) == "unacknowledged")
        self.answer()
        self.is_silent("answered: silent")

    def begin_the_check(self) -> None:
        """The check before use: a press, the fan on, a press for card and lamps."""
        begin_the_check(self)

    def finish_the_check(self) -> None:
        """All is measured: hood on, the test sound, a press."""
        finish_the_check(self)

    def use(self) -> None:
        """The fan is switched on and the hood put on, unchecked."""
        self.hand.plug_in()
        self.pressure_pa = NORMAL_PA
        self.checks.within(
            5, "fan on", lambda: abs(self.witness.signal("hood_pressure_pa") - NORMAL_PA) < 2
        )
        self.hand.lift_hood()
        self.checks.within(3, "worn", lambda: self.witness.stage() == "worn")

    def lose_air(self) -> None:
        """The fan stops; the air comes back; the wearer answers."""
        checks, witness = self.checks, self.witness
        self.pressure_pa = 0.0
        checks.within(3, "air lost: the siren sounds", lambda: level(SIREN))
        checks.within(2, "and the broker knows", lambda: "unack" in witness.alarm("air_lost"))
        self.pressure_pa = NORMAL_PA
        checks.within(8, "air back: latched", lambda: "latched" in witness.alarm("air_lost"))
        self._press("air_lost")
        self.answer()

    def pull_the_plug(self) -> None:
        """The fan loses its mains, and coasts: told before the pressure falls."""
        checks, witness = self.checks, self.witness
        self.hand.pull_plug()
        checks.within(1, "plug pulled: the siren sounds", lambda: level(SIREN))
        rule = "fan_mains_lost"
        checks.within(2, "and the broker knows", lambda: "unack" in witness.alarm(rule))
        checks.now("while the air is still good", "unack" not in witness.alarm("air_lost"))
        self.hand.plug_in()
        checks.within(8, "plugged in: latched", lambda: "latched" in witness.alarm(rule))
        self._press(rule)
        self.answer()

    def _press(self, rule: str) -> None:
        """Answer a latched alarm by the button."""
        self.hand.press()
        answered = "latched_acknowledged"
        self.checks.within(2, "a press answers", lambda: self.witness.alarm(rule) == answered)
        self.is_silent("and silences it")

    def unplug_the_sensor(self) -> None:
        """Nothing answers on the bus; then the chip is back as after power-up."""
        checks, witness = self.checks, self.witness
        del self.adapter.chips[0x25]
        checks.within(5, "sensor unplugged: LOOK", lambda: witness.alarm("air_invalid") != "normal")
        checks.within(2, "no number is made up", lambda: witness.signal("hood_pressure_pa") is None)
        self.chip.power_cycle()
        self.adapter.chips[0x25] = self.chip
        checks.within(10, "plugged in: reads again", lambda: witness.signal("hood_pressure_pa"))
        self.answer()

    def storm_the_bus(self) -> None:
        """The chip refuses nine transfers of ten, then answers all of them again."""
        checks, witness = self.checks, self.witness
        restarts = unit(UNIT, "NRestarts")
        asked = itertools.count(1)
        self.adapter.refuses = lambda: next(asked) % 10 > 0
        rule = "air_invalid"
        checks.within(6, "the bus refuses: LOOK", lambda: witness.alarm(rule) == "unacknowledged")
        checks.within(2, "no number is made up", lambda: witness.signal("hood_pressure_pa") is None)
        checks.throughout(5, "and no LEAVE", lambda: "unack" not in witness.alarm("air_lost"))
        said(f"           refused while {next(asked)} times asked")
        self.adapter.refuses = lambda: False
        checks.within(10, "it answers: reads again", lambda: witness.signal("hood_pressure_pa"))
        checks.now("nothing was restarted", unit(UNIT, "NRestarts") == restarts)
        self.answer()

    def lose_the_oximeter(self) -> None:
        """Out of radio range for a while."""
        checks, witness = self.checks, self.witness
        self.oximeter.send_signal(10)
        checks.within(5, "oximeter gone", lambda: witness.signal("spo2_percent") is None)
        rule = "spo2_invalid"
        checks.within(32, "oximeter gone: LOOK", lambda: witness.alarm(rule) != "normal")
        self.oximeter.send_signal(12)
        checks.within(15, "oximeter back", lambda: witness.signal("spo2_percent") == 97)
        self.answer()
        self.is_silent("answered: silent")

    def lose_the_broker(self) -> None:
        """The broker dies in use; an alarm happens; it comes back."""
        checks, witness = self.checks, self.witness
        sh("systemctl kill -s KILL mosquitto; systemctl stop mosquitto")
        self.pressure_pa = 0.0
        checks.within(3, "broker dead: the siren sounds", lambda: level(SIREN))
        self.pressure_pa = NORMAL_PA
        time.sleep(8)
        before = len(witness.online)
        sh("systemctl start mosquitto")
        checks.within(10, "broker back: online", lambda: "online" in witness.online[before:])
        checks.within(
            10,
            "what happened meanwhile comes late, and says so",
            lambda: [e for e in witness.events if e["rule"] == "air_lost" and e.get("late_s")],
        )
        # These two as people give them; elsewhere they go by the socket, which is quicker here.
        sh("linetender acknowledge --wearer", check=False)
        sh("linetender reset", check=False)
        self.is_silent("answered: silent")

    def disturb_what_must_not_matter(self) -> None:
        """The clock jumps, Bluetooth freezes: alarms at most, never a restart."""
        checks = self.checks
        restarts, stage = unit(UNIT, "NRestarts"), self.witness.stage()
        pid = unit("bluetooth.service", "MainPID")
        sh(f"kill -STOP {pid}")
        sh("date -s '+1 day'")
        since_s = time.monotonic()
        time.sleep(14)
        sh("date -s '-2 days'")
        sh(f"kill -CONT {pid}")
        checks.now("nothing was restarted", unit(UNIT, "NRestarts") == restarts)
        checks.now("the sign of life went on", len(edges(LIFE, since_s)) >= 20)
        checks.now(f"still {stage}", self.witness.stage() == stage)
        checks.within(20, "SpO2 reads on", lambda: self.witness.signal("spo2_percent") == 97)
        self.answer()
        self.is_silent("silent")

    def kill(self) -> None:
        """kill -9 while worn."""
        break_off(self, "killed", f"kill -9 {unit(UNIT, 'MainPID')}", bites_within_s=0)

    def stop_the_process(self) -> None:
        """The whole process stands still: the watchdog's case."""
        break_off(self, "stopped", f"kill -STOP {unit(UNIT, 'MainPID')}", bites_within_s=15)

    def freeze_the_loop(self) -> None:
        """Only the loop's thread stands still; the others live on."""
        main_thread = int(unit(UNIT, "MainPID"))
        libc = ctypes.CDLL(None, use_errno=True)
        holder = os.fork()
        if holder == 0:
            libc.ptrace(PTRACE_SEIZE, main_thread, 0, 0)
            libc.ptrace(PTRACE_INTERRUPT, main_thread, 0, 0)
            while True:
                try:
                    os.waitpid(main_thread, 0x40000000)  # __WALL: reap it when it ends
                except ChildProcessError:
                    os._exit(0)
        break_off(self, "its loop frozen", ":", bites_within_s=20)
        os.waitpid(holder, 0)

    def stop_in_use(self) -> None:
        """Somebody stops the service while the hood is worn."""
        checks = self.checks
        sh(f"systemctl stop {UNIT}")
        checks.within(6, "stopped in use: the siren is held on", lambda: level(SIREN))
        checks.throughout(2, "and stays on", lambda: level(SIREN))
        checks.now("the sign of life is still", level(LIFE) == 0)
        sh(f"systemctl start {UNIT}")
        checks.within(5, "started: resumes worn", lambda: self.witness.stage() == "worn")
        self.answer()
        self.is_silent("answered: silent")

    def end(self) -> None:
        """An evening's switch-off after the end of the use alarms nobody."""
        checks = self.checks
        self.hand.hang_hood()
        checks.within(3, "hood on its hook: idle", lambda: self.witness.stage() == "idle")
        self.hand.pull_plug()
        self.pressure_pa = 0.0
        checks.throughout(6, "fan off in the evening: silent", lambda: level(SIREN) == 0)
        sh(f"systemctl stop {UNIT}")
        checks.throughout(6, "service stopped: silent", lambda: level(SIREN) == 0)
        checks.now("pins are safe", (level(LIFE), level(LAMP)) == (0, 0))
        checks.now("it said offline", self.witness.online[-1] == "offline")
        replayed = sh(f"{LINETENDER} replay {RECORDINGS}/*.jsonl*; echo status $?", check=False)
        said(replayed)
        checks.now("every recording replays", replayed.endswith("status 0"))

    def walls(self) -> None:
        """What systemd makes of the units."""
        said(sh(f"systemd-analyze verify {UNIT} 2>&1", check=False) or "verify: no complaint")
        security = sh(f"systemd-analyze security {UNIT}", check=False)
        said(security.splitlines()[-1])
        found = re.search(r"exposure level .*: ([0-9.]+) ", security)
        exposure = float(found.group(1)) if found else 10.0
        self.checks.now("exposure of 1.5 or less", exposure <= 1.5)

    def take_back(self) -> None:
        """Uninstalled."""
        sh(f"{LINETENDER} uninstall --apply")
        left = [path for path in Path("/etc/systemd/system").glob("linetender*@.service")]
        self.checks.now("nothing of it is left", left == [])
        self.checks.now("the unit is gone", not self.is_active())

    def answer(self) -> None:
        """Answer what sounds and end what is over, as a person at the daemon's socket."""
        with contextlib.suppress(Unanswered), connect(None) as client:
            shown = client.status().snapshot.n
            client.ask(Ask.ACKNOWLEDGE, Arguments(wearer=True, shown=shown))
            client.ask(Ask.RESET, Arguments())

    def is_active(self) -> bool:
        """Return whether the service is."""
        return unit(UNIT, "ActiveState") == "active"

    def is_silent(self, name: str) -> None:
        """A burst that began is finished first, so silence is what lasts."""
        self.checks.within(
            4, name, lambda: not level(SIREN) and not edges(SIREN, time.monotonic() - 2.5)
        )


if __name__ == "__main__":
    is_again = is_second_start()
    bench = Bench(is_in_use=is_again)
    match sys.argv[1]:
        case "the_day":
            status = bench.run()
        case "update":
            status = update_and_back(bench)
        case _:
            status = after_reset(bench) if is_again else crash_pid_1(bench)
    said(
        sh(f"journalctl -u {UNIT} -u 'linetender-siren@*' --no-pager -o short-monotonic | tail -80")
    )
    bench.oximeter.kill()
    bench.expander.kill()
    sys.exit(status)
