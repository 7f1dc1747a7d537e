"""The clock of a round, kept in the person's session: start, pause, stop, and the minutes since the last tap."""

from __future__ import annotations

from collections.abc import MutableMapping
from typing import Any

import msgspec

LONGEST_GAP_MIN = 20.0
"""More minutes than this between two taps were a break, not work (judgement)."""
KEY = "round_clock"


class RoundClock(msgspec.Struct, frozen=True, kw_only=True):
    """Epoch seconds of the run's beginning (None while it stands) and of the last tap; seconds of earlier runs."""

    began: float | None = None
    last: float | None = None
    banked_s: float = 0.0

    @classmethod
    def of(cls, session: MutableMapping[str, Any]) -> RoundClock:
        """The clock of a session; a stopped one when it keeps none, or one that cannot be read."""
        try:
            return msgspec.convert(session.get(KEY) or {}, cls)
        except msgspec.ValidationError:
            return cls()

    def keep(self, session: MutableMapping[str, Any]) -> RoundClock:
        """Keep the clock in a session."""
        session[KEY] = msgspec.to_builtins(self)
        return self

    @property
    def running(self) -> bool:
        return self.began is not None

    @property
    def paused(self) -> bool:
        return self.began is None and self.banked_s > 0

    def minutes(self, now: float) -> float:
        """Minutes of work so far, breaks left out."""
        return (self.banked_s + (max(0.0, now - self.began) if self.began is not None else 0.0)) / 60

    def since_last_tap(self, now: float) -> float | None:
        """Minutes that the item just tapped took, at most LONGEST_GAP_MIN; None while the clock stands."""
        if self.began is None or self.last is None:
            return None
        return min(LONGEST_GAP_MIN, max(0.0, now - self.last) / 60)

    def start(self, now: float) -> RoundClock:
        """Start or go on."""
        return self if self.running else RoundClock(began=now, last=now, banked_s=self.banked_s)

    def pause(self, now: float) -> RoundClock:
        """Stand still; the minutes so far are kept."""
        return RoundClock(banked_s=self.minutes(now) * 60)

    def stop(self) -> RoundClock:
        """Back to nought."""
        return RoundClock()

    def tapped(self, now: float) -> RoundClock:
        """Something was just done."""
        return msgspec.structs.replace(self, last=now) if self.running else self
