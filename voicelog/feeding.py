"""Feeding a walk: blocks of sound in, what befalls the microphone, the clock; updates out to the views."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from voicelog.conduct import Conductor
from voicelog.hearing.audio import Block
from voicelog.hearing.endpoint import Endpointer
from voicelog.hearing.live import LiveEar
from voicelog.hearing.notices import STAND_IN_S, Lost, Notice, Waiting
from voicelog.walk.replies import Ear, Update


def conduct(
    conductor: Conductor,
    blocks: Iterable[Block | Notice],
    endpointer: Endpointer,
    show: Callable[[Update], None],
    *,
    update_every_s: float = 0.25,
) -> None:
    """Run a recording or a stream through the walk until it ends or the walk is complete.

    Where sound is lost, what was being said is heard as far as it came. Where another source took the
    microphone's place it is never taken as whole, and not heard if it began only just before.
    ``show`` gets an update after every utterance, and a few times a second between them so that
    a view can show the level, and the words while they are spoken. Errors in the source (a cut
    file, a lost device) are raised after what was heard before them is logged. Then the remarks are
    written out, unless a thread does that.
    """
    shown_at, partial, last_s = -1.0, "", 0.0
    live = LiveEar(conductor.streaming) if conductor.streaming is not None else None
    try:
        for block in blocks:
            if not isinstance(block, Block):
                _take_notice(conductor, block, endpointer, show)
                if conductor.state.finished is not None:
                    return
                continue
            last_s = block.start_s
            for utterance in endpointer.accept(block):
                show(_placed(conductor.hear(utterance), block.start_s, endpointer))
            conductor.dictation.quiet(not endpointer.speaking)
            told = conductor.tick(block.start_s)
            if told is not None:
                show(_placed(told, block.start_s, endpointer))
            words = live.follow(endpointer, conductor.live_graph()) if live is not None else ""
            if block.start_s - shown_at >= update_every_s or words != partial:
                shown_at, partial = block.start_s, words
                show(_status(conductor, block.start_s, endpointer, partial))
            if conductor.state.finished is not None:
                return
    finally:
        for utterance in endpointer.finish():
            if conductor.state.finished is None:
                show(_placed(conductor.hear(utterance), utterance.end_s, endpointer))
                last_s = utterance.end_s
        conductor.dictation.quiet(True)
        if (written := conductor.write_out()) is not None:
            show(_placed(written, last_s, endpointer))


def keep_time(
    conductor: Conductor, show: Callable[[Update], None], wait: Callable[[float], bool], every_s: float = 0.25
) -> None:
    """Tell the clock of timed tests in a walk by keyboard, which has no sound to go by.

    Returns when the walk is complete, or when ``wait``, which lets so many seconds pass, returns True.
    ``show`` gets what is told, and the running clock.
    """
    while conductor.state.finished is None and not wait(every_s):
        told = conductor.tick()
        if told is not None or conductor.state.running is not None:
            show(told or conductor.standing())


def _take_notice(
    conductor: Conductor, notice: Notice, endpointer: Endpointer, show: Callable[[Update], None]
) -> None:
    if isinstance(notice, Lost):
        mixed = notice.reason == "another source took its place"
        for utterance in endpointer.finish():
            # Its last sound may be of the other source, even our own voice as it is played.
            if mixed and utterance.start_s >= notice.at_s - STAND_IN_S:
                continue
            whole = utterance.complete and not mixed
            show(_placed(conductor.hear(replace(utterance, complete=whole)), notice.at_s, endpointer))
    if isinstance(notice, Waiting):
        show(_status(conductor, notice.at_s, endpointer, ""))
    else:
        show(_placed(conductor.notice(notice), notice.at_s, endpointer))


def _status(conductor: Conductor, position_s: float, endpointer: Endpointer, partial: str) -> Update:
    ear: Ear = "hearing" if endpointer.speaking and conductor.ear == "listening" else conductor.ear
    if endpointer.deaf and ear in ("listening", "hearing", "taking a remark"):
        ear = "speaking"
    return Update(
        conductor.state,
        ear=ear,
        level_dbfs=endpointer.level_dbfs,
        position_s=position_s,
        walk_id=conductor.walk_id,
        partial=partial,
        test_s=conductor.test_s,
    )


def _placed(update: Update, position_s: float, endpointer: Endpointer) -> Update:
    return replace(update, level_dbfs=endpointer.level_dbfs, position_s=position_s)


def paced(
    blocks: Iterable[Block], speed: float, sleep: Callable[[float], None], now: Callable[[], float]
) -> Iterator[Block]:
    """Yield the blocks no faster than ``speed`` times real time."""
    started, first_s = now(), None
    for block in blocks:
        first_s = block.start_s if first_s is None else first_s
        wait = (block.start_s - first_s) / speed - (now() - started)
        if wait > 0:
            sleep(wait)
        yield block
