"""Session files: every input the core saw and every event it made, and back by replay.

The format stands in README.md beside this file. `lines.py` holds the kinds of
line, `line_stream.py` forms them, `writer.py` brings them to the disk,
`reader.py` checks and yields them, `replay.py` feeds them to a new Watch.
"""
