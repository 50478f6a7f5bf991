"""Noise that is a function of seed and time alone, as moving air makes it.

Each octave is a row of lattice values, spaced evenly in time and drawn by a hash of
(seed, channel, octave, index); between them the noise runs straight. It can be read at
any instant in any order, and only whole-number hashing, sums and products are used,
so that every Python and machine gives the same values.
"""

import math
import struct

_MASK_64 = (1 << 64) - 1
_GOLDEN_64 = 0x9E3779B97F4A7C15

_SLICES = 4
_SLICE_MEAN = _SLICES * 65_535 / 2.0
_SLICE_DEVIATION = math.sqrt(_SLICES * (65_536**2 - 1) / 12.0)
"""Mean and standard deviation of the sum of four even draws of 16 bits."""

_STRAIGHT_LINE_VARIANCE = 2.0 / 3.0
"""Variance, averaged over time, of straight lines between independent values of variance 1."""


_ROW = 64
"""Lattice values that are drawn at once."""
_ONES = sum(1 << 128 * lane for lane in range(_ROW + 1))
_LOW_64 = _ONES * _MASK_64
_LOW_32 = _ONES * 0xFFFF_FFFF
_EVEN_SLICES = _ONES * 0x0000_FFFF_0000_FFFF
_STEPS = sum((lane * _GOLDEN_64 & _MASK_64) << 128 * lane for lane in range(_ROW + 1))
_LOWEST_32 = struct.Struct("<" + "I12x" * (_ROW + 1))
"""One long whole number holds a row of 64-bit numbers, each in a lane of 128 bits, so that
products do not reach the next: one sum or product of it is one of each of them. The last one
is also the first of the next row."""


class Turbulence:
    """A random signal of mean 0 and standard deviation 1, bounded, stronger where slower.

    Energy per octave falls as the power -2/3 of frequency, as in the inertial range of
    turbulence (Kolmogorov's -5/3 law for the spectral density).

    Args:
        seed: Any whole number; another seed is another day.
        channel: Whole number from 0; sets apart the signals of one world.
        finest_ns: Spacing of the fastest octave (ns, > 0); 40 ms is one sample at 25 Hz.
        octaves: Number of octaves (> 0), each twice as slow as the one before.
    """

    def __init__(
        self, seed: int, channel: int, finest_ns: int = 40_000_000, octaves: int = 7
    ) -> None:
        amplitudes = [2.0 ** (octave / 3.0) for octave in range(octaves)]
        power = _STRAIGHT_LINE_VARIANCE * sum(amplitude * amplitude for amplitude in amplitudes)
        self._octaves = tuple(
            _Octave(
                _mixed(_mixed(seed & _MASK_64) ^ (channel << 8 | octave)),
                finest_ns << octave,
                amplitude / math.sqrt(power),
            )
            for octave, amplitude in enumerate(amplitudes)
        )

    def value(self, now_ns: int) -> float:
        """Return the signal (1) at an instant (ns, >= 0)."""
        total = 0.0
        for octave in self._octaves:
            rest_ns = now_ns - octave.from_ns
            if not 0 <= rest_ns < octave.spacing_ns:
                rest_ns = octave.move(now_ns)
            total += octave.left + octave.rise * (rest_ns / octave.spacing_ns)
        return total


class _Octave:
    """One row of lattice values after another; remembers one, since time mostly moves on.

    Attributes:
        spacing_ns: Between two values.
        from_ns: When the left one of the two around the last instant is.
        left: The left one.
        rise: By how much the right one is higher.
    """

    __slots__ = (
        "_amplitude",
        "_first",
        "_key",
        "_offset_ns",
        "_row",
        "from_ns",
        "left",
        "rise",
        "spacing_ns",
    )

    def __init__(self, key: int, spacing_ns: int, amplitude: float) -> None:
        self._key = key
        self.spacing_ns = spacing_ns
        # Not all octaves may have a lattice value, where they are strongest, at once.
        self._offset_ns = key % spacing_ns
        self._amplitude = amplitude
        self._first = -2 * _ROW
        self._row: list[float] = []
        # Before any instant, so that the first look moves it.
        self.from_ns = -2 * spacing_ns
        self.left = 0.0
        self.rise = 0.0

    def move(self, now_ns: int) -> int:
        """Find the two values around an instant; return how far it lies behind the left one."""
        index, rest_ns = divmod(now_ns + self._offset_ns, self.spacing_ns)
        place = index - self._first
        if not 0 <= place < _ROW:
            place = index % _ROW
            self._first = index - place
            self._row = self._lattice(self._first)
        self.left = self._row[place]
        self.rise = self._row[place + 1] - self.left
        self.from_ns = now_ns - rest_ns
        return rest_ns

    def _lattice(self, first: int) -> list[float]:
        """Draw the values of a row, and the first of the next."""
        bits = _mixed((_ONES * (self._key + first * _GOLDEN_64 & _MASK_64) + _STEPS) & _LOW_64)
        pairs = (bits & _EVEN_SLICES) + (bits >> 16 & _EVEN_SLICES)
        totals = (pairs + (pairs >> 32)) & _LOW_32
        packed = totals.to_bytes(_LOWEST_32.size, "little")
        amplitude = self._amplitude
        return [
            amplitude * (total - _SLICE_MEAN) / _SLICE_DEVIATION
            for total in _LOWEST_32.unpack(packed)
        ]


def _mixed(bits: int) -> int:
    """Scatter each of some 64 bits (the finalizer of the generator SplitMix64, public domain)."""
    bits = (bits ^ bits >> 30 & _LOW_64) * 0xBF58476D1CE4E5B9 & _LOW_64
    bits = (bits ^ bits >> 27 & _LOW_64) * 0x94D049BB133111EB & _LOW_64
    return bits ^ bits >> 31 & _LOW_64
