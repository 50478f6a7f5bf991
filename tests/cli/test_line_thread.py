"""Lines for people never hold up the watching, whoever does not read them."""

import logging
import os
import threading

from linetender.cli.line_thread import LINES_WAITING, LineHandler, LineThread


def test_lines_come_out_in_order_and_close_waits_for_them() -> None:
    reader, writer = os.pipe()
    lines = LineThread(writer)
    for number in range(5):
        lines.put(f"line {number} é")
    lines.close()
    os.close(writer)
    with open(reader, encoding="utf-8") as out:
        assert out.read() == "".join(f"line {number} é\n" for number in range(5))


def test_a_pipe_that_nobody_empties_holds_nothing_up() -> None:
    reader, writer = os.pipe()
    lines = LineThread(writer)
    for number in range(3 * LINES_WAITING):
        lines.put(f"{number:>200}")  # far more than a pipe and the queue hold
    lines.close(within_s=0.05)
    with open(reader, encoding="utf-8") as out:
        while (line := out.readline()).strip() != str(3 * LINES_WAITING - 1):
            assert line
    os.close(writer)


def test_a_reader_that_went_away_is_no_fault() -> None:
    reader, writer = os.pipe()
    os.close(reader)
    lines = LineThread(writer)
    lines.put("to nobody")
    lines.put("to nobody")
    lines.close()
    os.close(writer)
    assert "lines" not in [thread.name for thread in threading.enumerate()]


def test_log_records_go_the_same_way() -> None:
    reader, writer = os.pipe()
    lines = LineThread(writer)
    record = logging.LogRecord("log", logging.WARNING, "", 1, "the %s is full", ("disk",), None)
    LineHandler(lines).handle(record)
    lines.close()
    os.close(writer)
    with open(reader, encoding="utf-8") as out:
        assert out.read() == "the disk is full\n"
