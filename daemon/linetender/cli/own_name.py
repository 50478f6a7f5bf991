"""What a person has to type to call linetender again."""

import shutil
import sys
from pathlib import Path

NAME = "linetender"


def own_name() -> str:
    """Return `linetender`, or how it was called where a shell would not find that."""
    called = sys.argv[0]
    if Path(called).name == NAME and shutil.which(NAME) is None:
        return called
    return NAME
