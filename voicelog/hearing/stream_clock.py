"""A device's clock held against the wall clock.

A device counts samples by its own crystal, which runs some parts in a million fast or slow: 100
make a third of a second in an hour. Times in the record are wall-clock seconds, so what the
device gains or loses is measured and taken out.

A block may reach us late, when the machine is busy, but never early. So of the last seconds the
block with the least delay tells the clocks' difference (the idea of the clock filter of NTP, RFC
5905, section 10).
"""

from __future__ import annotations

from collections import deque

WINDOW_S = 4.0
"""Seconds of which the least delay is taken."""


class StreamClock:
    """Takes when each part of a stream arrived; tells how far its sample count has drifted."""

    def __init__(self, rate: float) -> None:
        self._rate = rate
        self._least: deque[tuple[float, float]] = deque()
        """(arrival, delay) of the window, delays rising: the first is the least."""
        self._first_at: float | None = None
        self._last_at = 0.0
        self._baseline: float | None = None

    def arrived(self, frames: int, at_s: float) -> None:
        """Take that the stream's first ``frames`` frames were there at ``at_s`` of a steady clock."""
        delay = at_s - frames / self._rate
        if self._first_at is None:
            self._first_at = at_s
        self._last_at = at_s
        while self._least and self._least[-1][1] >= delay:
            self._least.pop()
        self._least.append((at_s, delay))
        while self._least[0][0] < at_s - WINDOW_S:
            self._least.popleft()
        if self._baseline is None and at_s - self._first_at >= WINDOW_S:
            self._baseline = self._least[0][1]

    @property
    def zero_s(self) -> float:
        """When the stream's first frame was taken, by the steady clock, as well as is known yet."""
        return self._baseline if self._baseline is not None else self._least[0][1]

    @property
    def drift_s(self) -> float:
        """Wall-clock seconds of the stream less its sample count's; above 0 the device is slow."""
        return 0.0 if self._baseline is None else self._least[0][1] - self._baseline

    @property
    def parts_per_million(self) -> float:
        """How much the device's clock is slow, in millionths; 0 until it can be told."""
        if self._first_at is None or self._last_at - self._first_at <= WINDOW_S:
            return 0.0
        return 1e6 * self.drift_s / (self._last_at - self._first_at)
