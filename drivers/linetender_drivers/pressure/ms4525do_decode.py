"""Which counts of an MS4525DO mean which pressure. Pure.

Sources: data sheet of the part, quoted in public drivers (output type A); type B from
memory of the same data sheet.
"""

from linetender_drivers.pressure.bridge_decode import FULL_COUNTS, BridgeRange

PA_PER_PSI = 6894.757

OUTPUT_TYPES = {"A": (0.10, 0.90), "B": (0.05, 0.95)}
"""Parts of full counts at the ends of the range, by the letter in the part number."""


def ms4525do_range(range_psi: int, output_type: str) -> BridgeRange:
    """Return the range of a differential part.

    Args:
        range_psi: Largest differential pressure, either sign, psi.
        output_type: `A` or `B`.
    """
    low, high = OUTPUT_TYPES[output_type]
    limit_pa = range_psi * PA_PER_PSI
    return BridgeRange(low * FULL_COUNTS, high * FULL_COUNTS, -limit_pa, limit_pa)
