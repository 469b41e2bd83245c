"""Conducting a walk: hears, decides, commits, and only then answers.

The only place where the pure walk meets the record store and the recogniser. One writer: calls
are serialised by a lock, so that the keyboard may be used while the microphone listens.
"""

from __future__ import annotations

import threading
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from voicelog import __version__
from voicelog.defects.carried import carried
from voicelog.errors import RecordError, VoicelogError, WalkError
from voicelog.graphs import Graphs
from voicelog.hearing.audio import Block
from voicelog.hearing.endpoint import Endpointer
from voicelog.hearing.live import LiveEar
from voicelog.hearing.notices import Lost, Notice, StreamSummary, Waiting
from voicelog.hearing.recogniser import RATE, Decoding, Ending, Recogniser, Streaming, Utterance
from voicelog.hearing.typed import typed_decoding
from voicelog.meaning.ending import ending
from voicelog.meaning.facts import Heard, How
from voicelog.meaning.interpret import DEFAULT, Interpretation, Thresholds, interpret
from voicelog.people.keys import Signer
from voicelog.phrases.commands import language_of
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.timed_grammar import has_timed
from voicelog.records.clips import Clip
from voicelog.records.store import Store
from voicelog.sheet.model import Language, Sheet, Unit
from voicelog.walk.carried import read_out, waiting
from voicelog.walk.commands import command, finish
from voicelog.walk.computing import with_computed
from voicelog.walk.decide import context_of, decide
from voicelog.walk.events import (
    CarriedDefect,
    Event,
    RemarkLogged,
    RemarkTranscribed,
    WalkFinished,
    WalkResumed,
    WalkStarted,
)
from voicelog.walk.gate import asked_now, enter_stop
from voicelog.walk.moments import LIVE, WALL, Moment, keyed_moment, spoken_moment
from voicelog.walk.replies import Ear, Outcome, Reply, Update
from voicelog.walk.said_back import where_am_i
from voicelog.walk.same_breath import after_a_pass
from voicelog.walk.sound import ended, noticed
from voicelog.walk.state import WalkState, apply, fold
from voicelog.walk.timed import due_marks, elapsed, taken_up_again

CLOCK_SET_BACK = "the clock was set back; the record keeps the order"


class Conductor:
    """One walk being made. Begin it with :meth:`begin` or :meth:`resume`.

    ``graphs`` may be shared between walks of the same sheet; they are then all kept. ``signer`` is
    the operator's open key, where people are on record.
    """

    def __init__(
        self,
        store: Store,
        sheet: Sheet,
        unit: Unit,
        recogniser: Recogniser | None,
        *,
        thresholds: Thresholds = DEFAULT,
        clock: Callable[[], datetime],
        graphs: dict[str, PhraseGraph] | None = None,
        signer: Signer | None = None,
    ) -> None:
        self._store = store
        self._signer = signer
        self._sheet = sheet
        self._language = language_of(sheet.lexicon)
        self._unit = unit
        self._recogniser = recogniser
        self._thresholds = thresholds
        self._clock = clock
        self._lock = threading.RLock()
        self._graphs = Graphs(sheet, graphs)
        self._foreseen: _Foreseen | None = None
        self._sound_clock = ""
        """The source of the sound, whose clock speech is timed by; empty for a walk by keyboard."""
        self._sound_s = 0.0
        self._told: Moment | None = None
        self.walk_id = ""
        self.state = WalkState(sheet)
        self.refused_by_record = 0
        """How often something could not be logged; each time the operator was told."""

    # beginning and ending -------------------------------------------------------------------

    def begin(self, operator: str, source: str = "") -> Update:
        """Start a new walk at the first stop; ``source`` says where the sound comes from."""
        operator = _name(operator)
        with self._lock:
            self.walk_id = self._store.new_walk_id(self._unit.id, self._clock())
            self._listen_to(source)
            started = WalkStarted(
                unit_id=self._unit.id,
                unit_name=self._unit.name,
                station=self._unit.station,
                identification=self._unit.identification,
                sheet_id=self._sheet.id,
                sheet_title=self._sheet.title,
                sheet_sha256=self._sheet.sha256,
                lexicon_sha256=self._sheet.lexicon.sha256,
                operator=operator,
                recogniser=self._recogniser.name if self._recogniser else "keyboard",
                model_sha256=self._recogniser.model_sha256 if self._recogniser else "",
                version=__version__,
                source=source,
                extent=self._sheet.extent,
                limits_sha256=self._sheet.limits_sha256,
                unit_sha256=self._sheet.unit_sha256,
            )
            brought = carried(self._store.defects.book(self._unit.id), self._sheet.id)
            self._commit((started, brought) if brought is not None else (started,), ())
            return self._carry_out(enter_stop(self.state, self._sheet.stops[0].id, None), None)

    def resume(self, walk_id: str, operator: str, source: str = "") -> Update:
        """Take up a walk where it stood; ``source`` says where the sound now comes from.

        Raises :class:`WalkError` when it was made with another edition of the sheet or lexicon.
        """
        operator = _name(operator)
        with self._lock:
            stored = self._store.events(walk_id)
            started = stored[0].event if stored else None
            if not isinstance(started, WalkStarted):
                raise WalkError(f"there is no walk {walk_id}", remedy="list them with: voicelog walks")
            if started.edition_key != self._sheet.edition_key:
                raise WalkError(
                    f"the walk {walk_id} was begun with another edition of {_changed(started, self._sheet)}",
                    where=self._sheet.path,
                    remedy="put that edition back, or begin a new walk with --new",
                )
            state = fold(self._sheet, ((s.at, s.event) for s in stored))
            if state.finished is not None:
                raise WalkError(f"the walk {walk_id} is complete", remedy="begin a new walk")
            self.walk_id, self.state = walk_id, state
            stood_by = state.standing_by
            self._listen_to(source)
            test = taken_up_again(state, self._now())
            self._commit((WalkResumed(operator=operator, standing_by=stood_by), *test.events), ())
            still = "still standing by, say resume; " if stood_by else ""
            text = f"walk resumed: {still}{where_am_i(self.state)}"
            asked = () if stood_by else (*asked_now(self.state), *read_out(self.state))
            return self._update((Reply("answer", text), *test.replies, *asked), None)

    def finish(self) -> Update:
        """End the walk from the keyboard."""
        with self._lock:
            return self._carry_out(finish(self.state, None), None)

    # hearing --------------------------------------------------------------------------------

    def hear(self, utterance: Utterance) -> Update:
        """Decode, interpret, commit and answer one utterance."""
        if self._recogniser is None:
            raise WalkError("this walk has no recogniser", remedy="type, or start it with a microphone")
        with self._lock:
            clip = Clip.from_samples(utterance.samples, RATE)
            if self.state.in_remark:
                return self._remark(utterance, clip)
            graph = self._graph()
            decoding = self._decode(utterance, graph)
            meant = interpret(
                decoding, graph, context_of(self.state), self._thresholds, whole=utterance.complete
            )
            heard = _heard(utterance, clip, meant, decoding)
            if self.state.standing_by and meant.argument != "resume":
                # Nothing is kept of what is said while standing by: it is not for us.
                return self._update((), heard)
            inline = _inline_remark(meant, decoding, self._language)
            if inline is not None:
                return self._log_remark(inline, heard, clip)
            wall_s = self._clock().timestamp() if self._sound_clock == LIVE else None
            moment = spoken_moment(self._sound_clock, utterance.start_s, utterance.end_s, wall_s)
            outcome = after_a_pass(self.state, meant, heard) if utterance.same_breath else None
            outcome = outcome or decide(self.state, meant, heard, moment)
            return self._carry_out(outcome, clip, heard)

    def foresee(self, utterance: Utterance) -> Ending:
        """Return how what was said up to a pause stands, and remember what it was decoded as.

        Nothing is logged: the utterance may go on. An :class:`Endpointer` asks this as its judge.
        """
        if self._recogniser is None:
            return "unsure"
        with self._lock:
            if self.ear != "listening":
                return "unsure"
            graph = self._graph()
            decoding = self._recogniser.decode(utterance, graph)
            self._foreseen = _Foreseen(utterance.start_s, len(utterance.samples), graph, decoding)
            meant = interpret(decoding, graph, context_of(self.state), self._thresholds)
            return ending(decoding, meant, self._sheet.lexicon)

    def _decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        """Decode an utterance, unless that was done in the pause that ended it."""
        assert self._recogniser is not None
        known, self._foreseen = self._foreseen, None
        if known is not None and known.graph is graph:
            same = (known.start_s, known.samples) == (utterance.start_s, len(utterance.samples))
            if same:
                return known.decoding
        return self._recogniser.decode(utterance, graph)

    def typed(self, text: str) -> Update:
        """Take a phrase from the keyboard."""
        moment = self._now()  # before anything that takes time
        with self._lock:
            graph = self._graph()
            decoding = typed_decoding(text, graph)
            meant = interpret(decoding, graph, context_of(self.state), self._thresholds)
            heard = Heard(text=meant.text or text, how="keyboard")
            if self.state.in_remark and meant.argument != "end of remark":
                return self._log_remark(text, heard, None)
            if meant.act == "refused" and self.state.marks.asked is None:
                # Nothing was misheard, so there is nothing to record.
                replies = (Reply("not understood", meant.reason), *asked_now(self.state, briefly=True))
                return self._update(replies, heard)
            return self._carry_out(decide(self.state, meant, heard, moment), None, heard)

    def command(self, name: str, how: How = "keyboard") -> Update:
        """Carry out a control word from a key."""
        moment = self._now()
        with self._lock:
            heard = Heard(text=name, how=how)
            return self._carry_out(command(self.state, name, heard, moment), None, heard)

    # the clock of timed tests ---------------------------------------------------------------

    def tick(self, position_s: float | None = None) -> Update | None:
        """Tell the clock of a running timed test where a mark of it is due; None where none is.

        ``position_s`` is how far the sound is, in seconds; None for a walk by keyboard. To be called a
        few times a second.
        """
        with self._lock:
            if position_s is not None:
                self._sound_s = position_s
            now = self._now()
            due = due_marks(self.state, self._told or now, now)
            self._told = now
            return self._update(tuple(Reply("answer", text) for text in due), None) if due else None

    @property
    def has_timed_tests(self) -> bool:
        """Whether the walk's sheet has any test that takes a clock."""
        return has_timed(self._sheet)

    def standing(self) -> Update:
        """Return the walk as it is, when nothing has happened."""
        with self._lock:
            return self._update((), None)

    def _listen_to(self, source: str) -> None:
        self._sound_clock = source or "sound" if self._recogniser is not None else ""
        self._sound_s = 0.0

    def _now(self) -> Moment:
        """Return the moment of a key pressed now."""
        if self._sound_clock:
            return keyed_moment(self._sound_clock, self._sound_s)
        return keyed_moment(WALL, self._clock().timestamp())

    def notice(self, notice: Notice) -> Update:
        """Log and tell what befell the microphone."""
        with self._lock:
            if self.state.finished is not None:
                return self._update((), None)
            return self._carry_out(noticed(self.state, notice), None)

    def stream_ended(self, summary: StreamSummary) -> None:
        """Log how the microphone's stream went."""
        with self._lock:
            self._carry_out(Outcome((ended(summary),), ()), None)

    def _remark(self, utterance: Utterance, clip: Clip) -> Update:
        assert self._recogniser is not None
        graph = self._graph()
        decoding = self._recogniser.decode(utterance, graph)
        meant = interpret(decoding, graph, context_of(self.state), self._thresholds)
        heard = _heard(utterance, clip, meant, decoding)
        if meant.act == "command" and meant.argument == "end of remark":
            return self._carry_out(decide(self.state, meant, heard), clip, heard)
        update = self._log_remark("", heard, clip, transcribed=False)
        if any(reply.kind == "trouble" for reply in update.replies):
            return update
        text = self._recogniser.dictate(utterance)  # the sound is committed: only words can be lost now
        remark = self.state.remarks[-1][1]
        words = RemarkTranscribed(
            remark_id=remark.remark_id, point_id=remark.point_id, text=text, by=self._recogniser.name
        )
        try:
            self._commit((words,), ())
        except RecordError as error:
            self.refused_by_record += 1
            what = f"the sound is kept, the transcript is not: {error.what.rstrip('.')}. {error.remedy}"
            update = self._update((*update.replies, Reply("answer", what)), heard)
        spoken = " ".join("".join(c if c.isalnum() or c.isspace() else " " for c in text.lower()).split())
        endings = self._language.commands.get("end of remark", ())
        ended = next((e for e in endings if spoken.endswith(e)), None)
        if ended is None:
            return self._update(update.replies, heard)
        closing = self._carry_out(command(self.state, "end of remark", heard), None, heard)
        return self._update((*update.replies, *closing.replies), heard)

    def _log_remark(self, text: str, heard: Heard, clip: Clip | None, *, transcribed: bool = True) -> Update:
        point_id = self.state.remark_point if self.state.in_remark else self.state.named
        event = RemarkLogged(
            remark_id=f"r{len(self.state.remarks) + 1}",
            point_id=point_id,
            heard=heard.model_copy(update={"text": text}),
            transcribed=transcribed,
        )
        name = self._sheet.points[point_id].full_name if point_id else "the walk"
        outcome = Outcome((event,), (Reply("taken", f"remark on {name}"),))
        return self._carry_out(outcome, clip, heard)

    def _graph(self) -> PhraseGraph:
        """Return the graph of what can be said now."""
        return self._graphs.now(self.state)

    # committing -----------------------------------------------------------------------------

    def _carry_out(self, outcome: Outcome, clip: Clip | None, heard: Heard | None = None) -> Update:
        outcome = with_computed(self.state, outcome)
        clips = (clip,) if clip is not None and outcome.events else ()
        before = waiting(self.state)
        was_set_back = self.state.clock_set_back
        try:
            self._commit(outcome.events, clips)
        except RecordError as error:
            # Not committed, so not acknowledged: the operator hears trouble, not a read-back.
            self.refused_by_record += 1
            what = error.what.rstrip(".")
            return self._update((Reply("trouble", f"not logged: {what}. {error.remedy}"),), heard)
        told = self._carried_next(before)
        if self.state.clock_set_back and not was_set_back:
            told += (Reply("caution", CLOCK_SET_BACK),)
        return self._update((*outcome.replies, *told, *self._enter_defects(outcome.events)), heard)

    def _carried_next(self, before: CarriedDefect | None) -> tuple[Reply, ...]:
        """Return the carried defect that has come up, or that the walk is open after the last of them."""
        now = waiting(self.state)
        if now is not None and now != before:
            return read_out(self.state)
        if before is not None and self.state.to_acknowledge is None and self.state.finished is None:
            return (Reply("answer", where_am_i(self.state)),)
        return ()

    def _enter_defects(self, events: tuple[Event, ...]) -> tuple[Reply, ...]:
        """Enter the defects of a walk that has just been finished, and say if that could not be done."""
        if not any(isinstance(event, WalkFinished) for event in events):
            return ()
        try:
            self._store.defects.take_up(self.walk_id, self.state)
        except VoicelogError as error:
            # The walk itself is committed; the shop's queue enters it when it is next looked at.
            what = error.what.rstrip(".")
            return (Reply("trouble", f"the defects are not in the shop's queue yet: {what}"),)
        return ()

    def _commit(self, events: tuple[Event, ...], clips: tuple[Clip, ...]) -> None:
        if not events:
            return
        for stored in self._store.append(self.walk_id, events, clips, signer=self._signer):
            self.state = apply(self.state, stored.event, stored.at)

    def _update(self, replies: tuple[Reply, ...], heard: Heard | None) -> Update:
        return Update(self.state, replies, heard, ear=self.ear, walk_id=self.walk_id, test_s=self.test_s)

    @property
    def test_s(self) -> float | None:
        """How many seconds of the running timed test have certainly passed; None while none runs."""
        run = self.state.running
        passed = elapsed(run, self._now()) if run is not None else None
        return float(passed) if passed is not None else None

    def heard_until(self, source: str) -> float:
        """Return how far a recording was already heard, in seconds; 0 for any other sound.

        A recording taken up again goes on from there, so that nothing is logged twice.
        """
        started = self.state.started
        if started is None or not source or started.source != source:
            return 0.0
        events = (stored.event for stored in self._store.events(self.walk_id))
        ends = (heard.end_s for event in events if (heard := getattr(event, "heard", None)) is not None)
        return max(ends, default=0.0)

    @property
    def streaming(self) -> Streaming | None:
        """The recogniser, if it can tell words while they are spoken."""
        return self._recogniser if isinstance(self._recogniser, Streaming) else None

    def live_graph(self) -> PhraseGraph | None:
        """Return what can be said now; None while what is said is not for the walk."""
        with self._lock:
            listening = not (self.state.standing_by or self.state.in_remark or self.state.finished)
            return self._graph() if listening else None

    @property
    def ear(self) -> Ear:
        """What the recorder is doing when nothing is being said."""
        if self.state.finished is not None:
            return "stopped"
        if self.state.sound_lost:
            return "no microphone"
        if self.state.standing_by:
            return "standing by"
        return "taking a remark" if self.state.in_remark else "listening"


@dataclass(frozen=True, slots=True)
class _Foreseen:
    """The decoding of an utterance that may not have ended."""

    start_s: float
    samples: int
    """How many there were."""
    graph: PhraseGraph
    decoding: Decoding


def _changed(started: WalkStarted, sheet: Sheet) -> str:
    """Return what of a sheet is of another edition than the walk was begun with."""
    if started.edition_key[:2] != sheet.edition_key[:2]:
        return f"the sheet {sheet.id}"
    return "the unit's file" if started.unit_sha256 != sheet.unit_sha256 else "the tables of limits"


def _name(operator: str) -> str:
    name = operator.strip()
    if not name:
        raise WalkError("a walk needs a name", remedy="say who inspects: --operator NAME")
    # Cc: control characters; Cs: bytes that were not text. Neither can be read by an officer.
    if any(unicodedata.category(c) in ("Cc", "Cs") for c in name):
        raise WalkError(
            "the operator's name holds characters that cannot be shown",
            remedy="write it with letters, spaces and marks",
        )
    return name


def _heard(utterance: Utterance, clip: Clip, meant: Interpretation, decoding: Decoding) -> Heard:
    return Heard(
        text=meant.text,
        free_text=decoding.free_text,
        clip=clip.sha256,
        start_s=round(utterance.start_s, 3),
        end_s=round(utterance.end_s, 3),
        how="speech",
    )


def _inline_remark(meant: Interpretation, decoding: Decoding, language: Language) -> str | None:
    """Return the text of "remark, ..." said in one breath: no phrase, but plainly a remark."""
    words = decoding.free_text.split(maxsplit=1)
    if meant.act != "refused" or len(words) != 2:
        return None
    is_remark = words[0].strip(",.:").lower() in language.commands.get("remark", ())
    return words[1] if is_remark else None


def conduct(
    conductor: Conductor,
    blocks: Iterable[Block | Notice],
    endpointer: Endpointer,
    show: Callable[[Update], None],
    *,
    update_every_s: float = 0.25,
) -> None:
    """Run a recording or a stream through the walk until it ends or the walk is complete.

    Where sound is lost, what was being said is heard as far as it came.
    ``show`` gets an update after every utterance, and a few times a second between them so that
    a view can show the level, and the words while they are spoken. Errors in the source (a cut
    file, a lost device) are raised after what was heard before them is logged.
    """
    shown_at, partial = -1.0, ""
    live = LiveEar(conductor.streaming) if conductor.streaming is not None else None
    try:
        for block in blocks:
            if not isinstance(block, Block):
                _take_notice(conductor, block, endpointer, show)
                if conductor.state.finished is not None:
                    return
                continue
            for utterance in endpointer.accept(block):
                show(_placed(conductor.hear(utterance), block.start_s, endpointer))
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
        for utterance in endpointer.finish():
            show(_placed(conductor.hear(utterance), notice.at_s, endpointer))
    if isinstance(notice, Waiting):
        show(_status(conductor, notice.at_s, endpointer, ""))
    else:
        show(_placed(conductor.notice(notice), notice.at_s, endpointer))


def _status(conductor: Conductor, position_s: float, endpointer: Endpointer, partial: str) -> Update:
    ear: Ear = "hearing" if endpointer.speaking and conductor.ear == "listening" else conductor.ear
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
    return Update(
        update.state,
        update.replies,
        update.heard,
        update.ear,
        endpointer.level_dbfs,
        position_s,
        update.walk_id,
        test_s=update.test_s,
    )


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
