"""Every door by which bytes from outside come into the program."""

from fuzz.device_doors import DEVICE_DOORS
from fuzz.file_doors import FILE_DOORS
from fuzz.wire_doors import WIRE_DOORS

DOORS = (*FILE_DOORS, *DEVICE_DOORS, *WIRE_DOORS)
