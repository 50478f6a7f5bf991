"""The verb `test-alarm`."""

from linetender.cli.control_client import JsonOption, StationOption, order
from linetender.runtime.control_messages import Arguments, Ask


def test_alarm(
    station: StationOption = None,
    as_json: JsonOption = False,
) -> None:
    """Play every pattern once on sounders and lamps; an alarm breaks it off.

    Refused while the hood is worn or anything sounds.

    Exit status: 0 done, 1 refused (the reason is said), 2 usage, 4 no daemon answers.

    Example: linetender test-alarm
    """
    order(
        Ask.TEST_ALARM,
        station,
        Arguments(),
        as_json=as_json,
        done="Listen: low, medium, high, then the sound of a failure. An alarm would break it off.",
    )
