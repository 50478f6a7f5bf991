"""The part that decides.

Pure: no input or output, no clock, no randomness. Time is an argument, an
integer count of monotonic nanoseconds. Everything a session does can therefore
be done again from its recording, exactly.

Start reading at `watch.py`; the states of an alarm stand in `alarm_table.py`.
"""
