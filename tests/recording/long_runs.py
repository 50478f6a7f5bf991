"""How often a random test tries: seldom by default, often in the long profile."""

import pytest


def tries(request: pytest.FixtureRequest, ordinary: int, long: int) -> int:
    """Return `long` under `--hypothesis-profile=long`, else `ordinary`."""
    is_long = request.config.getoption("--hypothesis-profile", default=None) == "long"
    return long if is_long else ordinary
