"""What is logged and said when the microphone drops out, comes back, or was not read in time."""

from __future__ import annotations

from collections.abc import Iterator

from voicelog.hearing.notices import Back, Lost, Missed, Notice, Silent, StreamSummary, Waiting
from voicelog.walk.decide import where_am_i
from voicelog.walk.events import SoundBack, SoundLost, SoundMissed, StreamEnded
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.state import WalkState

TELLING_DRIFT_S = 0.1
"""Drift of the device's clock that a reader is told of; it is taken out of the times in any case."""


def noticed(state: WalkState, notice: Notice) -> Outcome:
    """Return the events and replies that come of a notice."""
    match notice:
        case Lost(reason=reason, at_s=at_s):
            return Outcome(
                (SoundLost(reason=reason, at_s=round(at_s, 3)),),
                (Reply("trouble", f"microphone lost: {reason}; the walk waits"),),
            )
        case Back(at_s=at_s, seconds=seconds):
            return Outcome(
                (SoundBack(at_s=round(at_s, 3), seconds=round(seconds, 3)),),
                (Reply("answer", f"microphone back; {where_am_i(state)}"),),
            )
        case Missed(at_s=at_s, seconds=seconds, times=times):
            return Outcome(
                (SoundMissed(at_s=round(at_s, 3), seconds=round(seconds, 3), times=times),),
                (Reply("trouble", "some sound was missed; say it again if it was not taken"),),
            )
        case Silent() if not state.standing_by:
            return Outcome((), (Reply("trouble", "the microphone gives no sound at all; is it muted?"),))
        case Silent() | Waiting():
            return Outcome((), ())


def ended(summary: StreamSummary) -> StreamEnded:
    """Return the event that closes a stream."""
    return StreamEnded(
        seconds=summary.seconds,
        lost_s=summary.lost_s,
        missed_s=summary.missed_s,
        overruns=summary.overruns,
        drift_s=summary.drift_s,
    )


def sound_lines(state: WalkState) -> tuple[str, ...]:
    """Return what befell the microphone, for the officer; empty when nothing did."""
    return tuple(_lines(state))


def _lines(state: WalkState) -> Iterator[str]:
    for at, event in state.sound:
        time = f"{at:%H:%M:%S}"
        match event:
            case SoundLost(reason=reason):
                yield f"The microphone was lost at {time}: {reason}. From there on nothing was heard."
            case SoundBack(seconds=seconds):
                yield f"The microphone was back at {time}, after {seconds:.0f} s."
            case SoundMissed(seconds=seconds, times=times):
                often = "once" if times == 1 else f"{times} times"
                yield f"Sound was missed {often} before {time}, at least {seconds:.1f} s in all."
            case StreamEnded(drift_s=drift_s, seconds=seconds) if abs(drift_s) >= TELLING_DRIFT_S:
                way = "slow" if drift_s > 0 else "fast"
                yield (
                    f"The microphone's clock ran {abs(drift_s):.2f} s {way} in {seconds / 60:.0f} min; "
                    "the times here have been put right."
                )
