"""Who listens to the means of a signal's closed windows, and when they may be told late."""

from abc import ABC, abstractmethod

from linetender.core.conditions.level import NOWHERE
from linetender.core.instants import NEVER_NS


class MeanListener(ABC):
    """Something that judges or gathers the means of closed windows."""

    __slots__ = ()

    @abstractmethod
    def see_mean(self, now_ns: int, mean: float | None) -> bool:
        """Look at the mean of a window that closed now; None when under half of it was good.

        Returns:
            Whether that changed anything that somebody should act on.
        """

    def pass_means(self, closed: list[tuple[int, float]]) -> None:
        """Take (instant, mean) of windows within `quiet_means`: nobody waited for them."""
        for now_ns, mean in closed:
            self.see_mean(now_ns, mean)

    def quiet_means(self) -> tuple[float, float]:
        """Return the lowest and highest mean that surely changes nothing to act on.

        Nowhere, unless a listener knows better: then every window is closed in time.
        """
        return NOWHERE

    def quiet_until_ns(self) -> int:
        """Return the instant from which on a mean may move what `quiet_means` returns."""
        return NEVER_NS
