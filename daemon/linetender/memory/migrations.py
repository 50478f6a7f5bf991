"""The schema of the memory, as scripts in the order in which they were written.

A file says in `PRAGMA user_version` how many of them it has had. A new table or column
is a new script at the end. A script that was released is never changed, for files
that have had it are out there; `tests/memory/` keeps one made by the first alone.
"""

_CALIBRATIONS = """
CREATE TABLE calibration (
    id INTEGER PRIMARY KEY,
    made_at TEXT NOT NULL,
    synchronised INTEGER NOT NULL CHECK (synchronised IN (0, 1)),
    expires_at TEXT NOT NULL,
    withdrawn_at TEXT,
    method TEXT NOT NULL,
    driver TEXT NOT NULL,
    signal TEXT NOT NULL,
    pressure_factor REAL NOT NULL CHECK (pressure_factor > 0),
    k_l_min REAL NOT NULL CHECK (k_l_min > 0),
    exponent REAL NOT NULL CHECK (exponent BETWEEN 0.5 AND 1),
    method_relative REAL NOT NULL CHECK (method_relative >= 0),
    ln_k_variance REAL NOT NULL CHECK (ln_k_variance >= 0),
    ln_k_exponent_covariance REAL NOT NULL,
    exponent_variance REAL NOT NULL CHECK (exponent_variance >= 0),
    least_pa REAL NOT NULL,
    greatest_pa REAL NOT NULL,
    zero_pa REAL NOT NULL,
    temperature_c REAL NOT NULL,
    pressure_pa REAL NOT NULL,
    humidity_percent REAL NOT NULL,
    points TEXT NOT NULL
) STRICT
"""

_TAUGHT = """
CREATE TABLE taught (
    id INTEGER PRIMARY KEY,
    made_at TEXT NOT NULL,
    synchronised INTEGER NOT NULL CHECK (synchronised IN (0, 1)),
    expires_at TEXT NOT NULL,
    withdrawn_at TEXT,
    method TEXT NOT NULL,
    driver TEXT NOT NULL,
    signal TEXT NOT NULL,
    normal_pa REAL NOT NULL CHECK (normal_pa > 0),
    uncertainty_pa REAL NOT NULL CHECK (uncertainty_pa >= 0),
    zero_pa REAL NOT NULL,
    temperature_c REAL NOT NULL,
    states TEXT NOT NULL
) STRICT
"""

_DRAFT = """
CREATE TABLE draft (
    name TEXT PRIMARY KEY,
    begun_at TEXT NOT NULL,
    content TEXT NOT NULL
) STRICT
"""

_OUTBOX = """
CREATE TABLE outbox (
    seq INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    at TEXT NOT NULL,
    boot TEXT NOT NULL,
    at_ns INTEGER NOT NULL,
    high INTEGER NOT NULL CHECK (high IN (0, 1)),
    lost INTEGER NOT NULL CHECK (lost >= 0),
    content TEXT NOT NULL
) STRICT
"""

_KEPT_STATE = """
CREATE TABLE kept_state (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    content TEXT NOT NULL
) STRICT
"""

_SESSIONS = """
CREATE TABLE session (
    id INTEGER PRIMARY KEY,
    started_at TEXT NOT NULL,
    synchronised INTEGER NOT NULL CHECK (synchronised IN (0, 1)),
    ended_at TEXT,
    recording TEXT NOT NULL,
    "check" TEXT NOT NULL CHECK ("check" IN ('none', 'passed', 'refused')),
    overrides TEXT NOT NULL,
    leaves INTEGER NOT NULL CHECK (leaves >= 0),
    looks INTEGER NOT NULL CHECK (looks >= 0),
    false_leaves INTEGER NOT NULL CHECK (false_leaves >= 0),
    summary TEXT NOT NULL
) STRICT
"""

_PRE_USE_CHECKS = """
CREATE TABLE pre_use_check (
    id INTEGER PRIMARY KEY,
    ended_at TEXT NOT NULL,
    synchronised INTEGER NOT NULL CHECK (synchronised IN (0, 1)),
    recording TEXT NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('ready', 'refused')),
    why TEXT NOT NULL,
    steps TEXT NOT NULL,
    overrides TEXT NOT NULL
) STRICT
"""

_PROOFS = """
CREATE TABLE proof (
    id INTEGER PRIMARY KEY,
    ended_at TEXT NOT NULL,
    synchronised INTEGER NOT NULL CHECK (synchronised IN (0, 1)),
    who TEXT NOT NULL,
    recording TEXT NOT NULL,
    step TEXT NOT NULL,
    result TEXT NOT NULL CHECK (result IN ('passed', 'failed', 'skipped', 'pending')),
    why TEXT NOT NULL,
    clock TEXT NOT NULL,
    seconds REAL CHECK (seconds >= 0),
    limit_s REAL CHECK (limit_s >= 0),
    rule TEXT NOT NULL
) STRICT
"""

_FILTERS = """
CREATE TABLE filter (
    id INTEGER PRIMARY KEY,
    fitted_at TEXT NOT NULL,
    synchronised INTEGER NOT NULL CHECK (synchronised IN (0, 1)),
    is_new INTEGER NOT NULL CHECK (is_new IN (0, 1)),
    label TEXT NOT NULL
) STRICT
"""

_FILTER_POINTS = """
CREATE TABLE filter_point (
    id INTEGER PRIMARY KEY,
    filter_id INTEGER NOT NULL REFERENCES filter (id),
    began_at TEXT NOT NULL,
    synchronised INTEGER NOT NULL CHECK (synchronised IN (0, 1)),
    hours REAL NOT NULL CHECK (hours >= 0),
    element_pa REAL,
    filter_pa REAL,
    fan_rpm REAL,
    temperature_c REAL
) STRICT
"""

_STOOD = "ALTER TABLE session ADD COLUMN stood TEXT NOT NULL DEFAULT '[]'"

MIGRATIONS: tuple[tuple[str, ...], ...] = (
    # 1: what was calibrated and taught.
    (_CALIBRATIONS, _TAUGHT),
    # 2: a calibration that was interrupted goes on where it was.
    (_DRAFT,),
    # 3: events wait for the broker, with the state that belongs to them.
    (_OUTBOX, _KEPT_STATE),
    # 4: uses of the hood and pre-use checks.
    (_SESSIONS, _PRE_USE_CHECKS),
    # 5: steps of proof tests, the walk to the way out among them.
    (_PROOFS,),
    # 6: filters, and what was seen of each while air went through it.
    (_FILTERS, _FILTER_POINTS),
    # 7: alarms that stood when a use began.
    (_STOOD,),
)
"""Each script is a tuple of statements, run in one transaction with its number."""

SCHEMA = len(MIGRATIONS)
"""What this version writes."""
