"""The time limit of a whole proposal: one clock that every stage looks at, and what was left out because of it."""

from __future__ import annotations

from time import monotonic


class TimeUp(Exception):
    """The time limit came amid a stage; whoever began it goes on with what there is."""


class Clock:
    """Time since a proposal was begun, against its limit.

    Parameters
    ----------
    limit : float, optional
        Time allowed [s]; by default there is no limit.
    """

    def __init__(self, limit: float | None = None) -> None:
        self.limit, self.began = limit, monotonic()
        self.left_out: list[str] = []

    @property
    def is_over(self) -> bool:
        """Whether the time is over."""
        return self.limit is not None and monotonic() - self.began > self.limit

    def leaves_out(self, what: str) -> bool:
        """Whether the time is over; what is then not looked into is noted.

        Parameters
        ----------
        what : str
            In a few words, as they follow "not looked into:".
        """
        if not self.is_over:
            return False
        if what not in self.left_out:
            self.left_out.append(what)
        return True

    def check(self) -> None:
        """Go on only while there is time.

        Raises
        ------
        TimeUp
            Where the time is over.
        """
        if self.is_over:
            raise TimeUp
