"""Which octets of like frames change, and which bits: what a layout is guessed from. Pure."""

OCTETS_A_ROW = 20
"""So that a map fits 80 columns; also the longest notification of the smallest link."""


class ByteChanges:
    """What was seen at each place of frames that are equally long.

    Args:
        length: Octets of each frame.

    Attributes:
        count: Frames taken.
        bits: For each place, the bits that were ever different from the first frame's.
    """

    def __init__(self, length: int) -> None:
        self.count = 0
        self.bits = [0] * length
        self._first = b""
        self._seen: list[set[int]] = [set() for _ in range(length)]

    def add(self, frame: bytes) -> None:
        """Take a frame.

        Raises:
            ValueError: it has another length.
        """
        if not self.count:
            self._first = frame
        self.count += 1
        for place, (octet, first) in enumerate(zip(frame, self._first, strict=True)):
            self._seen[place].add(octet)
            self.bits[place] |= octet ^ first

    def unchanged(self) -> list[int]:
        """Return the places at which every frame had the same octet."""
        return [place for place, bits in enumerate(self.bits) if not bits]

    def rows(self) -> list[str]:
        """Return a map of the places: least, most, how many values, and which bits changed."""
        rows: list[str] = []
        for start in range(0, len(self.bits) if self.count else 0, OCTETS_A_ROW):
            places = range(start, min(start + OCTETS_A_ROW, len(self.bits)))
            rows += [
                _row("byte", [f"{place:3d}" for place in places]),
                _row("least", [f" {min(self._seen[place]):02x}" for place in places]),
                _row("most", [f" {max(self._seen[place]):02x}" for place in places]),
                _row("values", [f"{len(self._seen[place]):3d}" for place in places]),
                _row("bits", [_mask(self.bits[place]) for place in places]),
            ]
        return rows


def changes_by_length(frames: list[bytes]) -> list[ByteChanges]:
    """Return what changed in frames, for each length that occurs, the most frequent first."""
    found: dict[int, ByteChanges] = {}
    for frame in frames:
        found.setdefault(len(frame), ByteChanges(len(frame))).add(frame)
    return sorted(found.values(), key=lambda each: -each.count)


def spans(places: list[int]) -> str:
    """Write rising places as people do: `0-3, 8`."""
    written: list[str] = []
    for place in places:
        if written and place - 1 in places:
            written[-1] = f"{written[-1].partition('-')[0]}-{place}"
        else:
            written.append(str(place))
    return ", ".join(written)


def _row(name: str, cells: list[str]) -> str:
    return f"  {name:8}{''.join(cells)}"


def _mask(bits: int) -> str:
    return f" {bits:02x}" if bits else "  ."
