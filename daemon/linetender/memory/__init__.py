"""The station's memory: what was taught and calibrated, in one SQLite file per station."""
