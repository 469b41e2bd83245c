"""What a device's clock gains or loses is measured, whatever delays the blocks have."""

from __future__ import annotations

import random

import pytest

from voicelog.hearing.stream_clock import WINDOW_S, StreamClock

RATE = 48_000
BLOCK = 1536


def streamed(
    minutes: float,
    parts_per_million: float,
    *,
    delays: float = 0.0,
    gap_at_s: float = 0.0,
    gap_s: float = 0.0,
) -> tuple[StreamClock, float, float]:
    """A stream of a device that is slow by so much; returns its clock, and the worst error after
    the first window and ten seconds after a gap, in seconds."""
    rng = random.Random(7)
    clock = StreamClock(RATE)
    worst = 0.0
    frames, at = 0, 50.0
    base = at
    gapped = False
    while at - base < minutes * 60:
        at += BLOCK / RATE * (1 + parts_per_million / 1e6)
        if gap_s and not gapped and at - base > gap_at_s:
            at, gapped = at + gap_s, True
        frames += BLOCK
        # Most blocks come a little late, some much: exponential, never early.
        clock.arrived(frames, at + delays * rng.expovariate(1.0))
        truth = at - base - frames / RATE
        settled = at - base > 2 * WINDOW_S and not (gap_s and gap_at_s < at - base < gap_at_s + 10)
        if settled:
            worst = max(worst, abs(clock.drift_s - truth))
    return clock, at - base - frames / RATE, worst


@pytest.mark.parametrize("parts_per_million", [-200.0, -30.0, 0.0, 30.0, 200.0])
@pytest.mark.parametrize("delays", [0.0, 0.02])
def test_drift_is_followed_to_a_few_milliseconds(parts_per_million: float, delays: float) -> None:
    """A device 200 ppm fast or slow, far more than crystals have, is followed within 10 ms for an hour."""
    clock, drift, worst = streamed(60, parts_per_million, delays=delays)
    assert drift == pytest.approx(3600 * parts_per_million / 1e6, abs=1e-3)
    assert worst < 0.010
    assert clock.parts_per_million == pytest.approx(parts_per_million, abs=3)


def test_sound_dropped_without_a_word_is_found() -> None:
    """300 ms that a device drops without saying so are in the times after the window has passed."""
    clock, drift, worst = streamed(2, 0.0, delays=0.005, gap_at_s=40, gap_s=0.3)
    assert drift == pytest.approx(0.3, abs=1e-6)
    assert clock.drift_s == pytest.approx(0.3, abs=0.01)
    assert worst < 0.010


def test_a_machine_that_was_busy_is_no_drift() -> None:
    """Three seconds in which nothing arrives, and then all of it at once, change no time."""
    clock = StreamClock(RATE)
    for n in range(1, 1000):
        at = n * BLOCK / RATE
        clock.arrived(n * BLOCK, 13.0 if 10.0 < at < 13.0 else at)
        assert clock.drift_s == pytest.approx(0.0, abs=1e-9)


def test_a_stream_begins_when_its_first_sample_was_taken() -> None:
    """Where the first second of sound comes all at once, its beginning is a second before."""
    clock = StreamClock(RATE)
    for n in range(1, 40):
        clock.arrived(n * BLOCK, 100.0 + max(n * BLOCK / RATE, 1.0))
    assert clock.zero_s == pytest.approx(100.0)
