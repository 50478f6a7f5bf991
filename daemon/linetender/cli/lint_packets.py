"""What `lint` does with a packet description: check it, and try it on octets that were heard."""

import json
import tomllib
from pathlib import Path
from typing import Annotated, Any

import msgspec
import typer

from linetender.cli.exit_codes import ExitCode
from linetender.cli.line_breaks import text_of
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.byte_changes import spans
from linetender_drivers.oximeter.packet_description import PacketDescription
from linetender_drivers.oximeter.packet_file import PacketFileError, load_packet_description
from linetender_drivers.oximeter.packet_trial import Trial, changed_unclaimed, try_description


class HeardLine(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One line of a file of notifications.

    Attributes:
        t_ms: When it came, ms.
        hex: Its octets.
    """

    t_ms: Annotated[int, msgspec.Meta(ge=0)]
    hex: Annotated[str, msgspec.Meta(pattern=r"\A([0-9a-fA-F]{2})*\Z", max_length=1024)]


class HeardFileError(ValueError):
    """A file of notifications cannot be used; the message names file and line."""


def is_packet_description(path: Path) -> bool:
    """Say by its contents whether a file describes packets; one that cannot be read does not."""
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return False
    return "schema" not in data and "service" in data and "characteristic" in data


def lint_packets(path: Path, against: Path | None, *, as_json: bool) -> ExitCode:
    """Check a packet description, and try it where something was heard; print the outcome."""
    try:
        description = load_packet_description(path)
        heard = None if against is None else _heard(against)
    except (PacketFileError, HeardFileError) as error:
        typer.echo(
            json.dumps({"file": str(path), "fine": False, "problems": str(error).split("\n")})
            if as_json
            else str(error)
        )
        return ExitCode.BAD_FILE
    if heard is None:
        signals = list(description.fields.numbers())
        outcome: dict[str, Any] = {"file": str(path), "fine": True, "signals": signals}
        fine = f"{path}: fine. It describes {', '.join(signals)}."
        advice = "  Try it on what your oximeter sends: linetender probe --listen, then --against."
        typer.echo(json.dumps(outcome) if as_json else text_of([fine, advice]))
        return ExitCode.FINE
    trial = try_description(description, heard)
    if as_json:
        typer.echo(json.dumps(_outcome(path, description, trial)))
    else:
        typer.echo(text_of([*_frame_lines(trial), *_verdict(path, description, trial)]))
    return ExitCode.FINE if trial.fits else ExitCode.FINDINGS


def _heard(path: Path) -> list[tuple[int, bytes]]:
    try:
        lines = path.read_bytes().splitlines()
    except OSError as error:
        raise HeardFileError(f"{path}: cannot be read: {error.strerror}") from error
    heard: list[tuple[int, bytes]] = []
    for number, line in enumerate(lines, 1):
        try:
            one = msgspec.json.decode(line, type=HeardLine)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            raise HeardFileError(
                f'{path}:{number}: expected {{"t_ms": 120, "hex": "c935…"}}, as probe --listen '
                f"--save writes it: {error}"
            ) from error
        heard.append((one.t_ms, bytes.fromhex(one.hex)))
    return heard


def _frame_lines(trial: Trial) -> list[str]:
    told = [(each.t_ms, " ".join(map(_shown, each.made))) for each in trial.frames if each.made]
    told += [(each.t_ms, f"does not fit: {each.what}") for each in trial.misfits]
    return [f"{t_ms / 1000:9.2f}  {text}" for t_ms, text in sorted(told, key=lambda one: one[0])]


def _shown(one: Measurement) -> str:
    """Write a measurement: `spo2_percent 97`, with why there is none, or why it is in doubt."""
    value = one.reason if one.value is None else f"{one.value:g}"
    return f"{one.signal} {value}{f' ({one.doubt})' if one.doubt else ''}"


def _verdict(path: Path, description: PacketDescription, trial: Trial) -> list[str]:
    carrying = sum(1 for each in trial.frames if each.made)
    lines = [
        f"{path}: {carrying} frames with the fields, {len(trial.frames) - carrying} of another "
        f"kind, {len(trial.misfits)} that do not fit; {trial.left_over} of {trial.octets} octets "
        "are in no frame."
    ]
    for changes in trial.changes():
        length = f"In {changes.count} frames of {len(changes.bits)} octets"
        lines.append(f"  {length}, these never changed: {spans(changes.unchanged()) or 'none'}.")
        unclaimed = changed_unclaimed(description, changes)
        if unclaimed:
            lines.append(
                f"  {length}, bits changed that the description says nothing of, in: "
                f"{spans(unclaimed)}."
            )
    if trial.fits:
        lines.append("  Compare the values with the oximeter's own display before you trust them.")
    else:
        lines.append("  To mend: compare with the byte-change map of probe --listen.")
    return lines


def _outcome(path: Path, description: PacketDescription, trial: Trial) -> dict[str, Any]:
    return {
        "file": str(path),
        "fine": trial.fits,
        "frames": [
            {"t_ms": each.t_ms, "hex": each.octets.hex(), "made": _dicts(each.made)}
            for each in trial.frames
        ],
        "misfits": [{"t_ms": each.t_ms, "what": each.what} for each in trial.misfits],
        "octets": trial.octets,
        "left_over": trial.left_over,
        "by_length": [
            {
                "length": len(changes.bits),
                "frames": changes.count,
                "never_changed": changes.unchanged(),
                "changed_undescribed": changed_unclaimed(description, changes),
            }
            for changes in trial.changes()
        ],
    }


def _dicts(made: tuple[Measurement, ...]) -> list[dict[str, Any]]:
    return [msgspec.to_builtins(one) for one in made]
