"""Noise that is a function of seed and time alone, as moving air makes it.

Each octave is a row of lattice values, spaced evenly in time and drawn by a hash of
(seed, channel, octave, index); between them the noise runs straight. It can be read at
any instant in any order, and only whole-number hashing, sums and products are used,
so that every Python and machine gives the same values.
"""

import math

_MASK_64 = (1 << 64) - 1
_GOLDEN_64 = 0x9E3779B97F4A7C15

_SLICES = 4
_SLICE_MEAN = _SLICES * 65_535 / 2.0
_SLICE_DEVIATION = math.sqrt(_SLICES * (65_536**2 - 1) / 12.0)
"""Mean and standard deviation of the sum of four even draws of 16 bits."""

_STRAIGHT_LINE_VARIANCE = 2.0 / 3.0
"""Variance, averaged over time, of straight lines between independent values of variance 1."""


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
    """One row of lattice values; remembers the last two, since time mostly moves on.

    Attributes:
        spacing_ns: Between two of them.
        from_ns: When the left one of the two is.
        left: The left one.
        rise: By how much the right one is higher.
    """

    __slots__ = (
        "_amplitude",
        "_index",
        "_key",
        "_offset_ns",
        "_right",
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
        self._index = -2
        self._right = 0.0
        # Before any instant, so that the first look moves it.
        self.from_ns = -2 * spacing_ns
        self.left = 0.0
        self.rise = 0.0

    def move(self, now_ns: int) -> int:
        """Find the two values around an instant; return how far it lies behind the left one."""
        index, rest_ns = divmod(now_ns + self._offset_ns, self.spacing_ns)
        self.left = self._right if index == self._index + 1 else self._lattice(index)
        self._right = self._lattice(index + 1)
        self.rise = self._right - self.left
        self._index = index
        self.from_ns = now_ns - rest_ns
        return rest_ns

    def _lattice(self, index: int) -> float:
        bits = _mixed((self._key + index * _GOLDEN_64) & _MASK_64)
        total = (bits & 0xFFFF) + (bits >> 16 & 0xFFFF) + (bits >> 32 & 0xFFFF) + (bits >> 48)
        return self._amplitude * (total - _SLICE_MEAN) / _SLICE_DEVIATION


def _mixed(bits: int) -> int:
    """Scatter 64 bits (the finalizer of the generator SplitMix64, public domain)."""
    bits = (bits ^ bits >> 30) * 0xBF58476D1CE4E5B9 & _MASK_64
    bits = (bits ^ bits >> 27) * 0x94D049BB133111EB & _MASK_64
    return bits ^ bits >> 31
