"""The second box: what it sends to a station, and what it does when it hears from one."""
