"""What can be wrong: one file per condition.

A condition looks at readings, contacts, facts or silence and holds a verdict. It
knows nothing of delays, priorities or alarm states: those are `alarm.py`'s.
"""
