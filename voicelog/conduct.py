"""Conducting a walk: hears, decides, commits, and only then answers.

Where the pure walk meets the recogniser; what is committed is in :mod:`voicelog.committing`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from voicelog.committing import Committing
from voicelog.defects.carried import carried
from voicelog.dictation import Dictation, transcript
from voicelog.errors import RecordError, VoicelogError, WalkError
from voicelog.graphs import Graphs
from voicelog.hearing.notices import Notice, StreamSummary
from voicelog.hearing.recogniser import RATE, Decoding, Ending, Recogniser, Streaming, Utterance
from voicelog.hearing.typed import typed_decoding
from voicelog.meaning.ending import ending
from voicelog.meaning.facts import Heard, How
from voicelog.meaning.interpret import DEFAULT, Interpretation, Thresholds, interpret
from voicelog.meaning.understand import understand
from voicelog.people.keys import Signer
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.clips import Clip
from voicelog.records.store import Store
from voicelog.remark_end import RemarkEnd, remark_end
from voicelog.sheet.model import Sheet, Unit
from voicelog.starting import operator_name, walk_as_left, walk_started
from voicelog.walk.carried import asked_again, left_to_acknowledge, read_out, waiting
from voicelog.walk.commands import command, finish
from voicelog.walk.decide import context_of, decide
from voicelog.walk.events import DefectsCarried, RemarkLogged, RemarkTranscribed, WalkResumed
from voicelog.walk.gate import asked_now, enter_stop
from voicelog.walk.moments import LIVE, spoken_moment
from voicelog.walk.remark_part import DICTATED, end_of, inline, part
from voicelog.walk.remarks import owed
from voicelog.walk.replies import Outcome, Reply, Update
from voicelog.walk.said_back import how_far, where_am_i
from voicelog.walk.same_breath import in_same_breath
from voicelog.walk.sound import ended, noticed
from voicelog.walk.timed import taken_up_again


class Conductor(Committing):
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
        super().__init__(store, sheet, unit, clock, signer)
        self._recogniser = recogniser
        self._thresholds = thresholds
        self._graphs = Graphs(sheet, graphs)
        self._foreseen: _Foreseen | None = None
        self.dictation = Dictation(self._transcript, self._transcribed, self._not_transcribed)
        """The remarks whose words are still to be made."""

    # beginning and ending -------------------------------------------------------------------

    def begin(self, operator: str, source: str = "") -> Update:
        """Start a new walk at the first stop; ``source`` says where the sound comes from."""
        operator = operator_name(operator)
        with self._lock:
            self.walk_id = self._store.new_walk_id(self._unit.id, self._clock())
            self._listen_to(self._clock_of(source))
            started = walk_started(self._sheet, self._unit, self._recogniser, operator, source)
            self._take_in(brought := carried(self._store.defects.book(self._unit.id), self._sheet))
            self._commit((started, brought) if brought is not None else (started,), ())
            return self._carry_out(enter_stop(self.state, self._sheet.stops[0].id, None), None)

    def resume(self, walk_id: str, operator: str, source: str = "") -> Update:
        """Take up a walk where it stood; ``source`` says where the sound now comes from.

        Raises :class:`WalkError` when it was made with another edition of the sheet or lexicon.
        """
        operator = operator_name(operator)
        with self._lock:
            self.state = state = walk_as_left(self._store, self._sheet, walk_id)
            self.walk_id = walk_id
            stood_by = state.standing_by
            self._listen_to(self._clock_of(source))
            test = taken_up_again(state, self._now())
            resumed = WalkResumed(operator=operator, standing_by=stood_by)
            self._commit((*self._carried_since(), resumed, *test.events), ())
            if self._recogniser is not None:
                self.dictation.owe(owed(self.state.remarks))
            still = "still standing by, say resume; " if stood_by else ""
            asked = () if stood_by else (*asked_now(self.state), *read_out(self.state))
            # What is asked now follows by itself, and is not said twice.
            where = how_far(self.state) if asked else where_am_i(self.state)
            if self.state.caution is None and waiting(self.state) is not None:
                where = left_to_acknowledge(self.state)
            text = f"walk resumed: {still}{where}"
            return self._update((Reply("answer", text), *test.replies, *asked), None)

    def _take_in(self, brought: DefectsCarried | None) -> None:
        if brought is not None and brought.added:
            super()._take_in(brought)
            self._graphs = Graphs(self._sheet)

    def _clock_of(self, source: str) -> str:
        return source or "sound" if self._recogniser is not None else ""

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
            heard = _of(utterance, clip, meant.text, decoding.free_text)
            if self.state.standing_by and meant.argument != "resume":
                # Nothing is kept of what is said while standing by: it is not for us.
                return self._update((), heard)
            if (remark := inline(self.state, meant, heard, self._points_of)) is not None:
                return self._carry_out(remark, clip, heard)
            wall_s = self._clock().timestamp() if self._sound_clock == LIVE else None
            moment = spoken_moment(self._sound_clock, utterance.start_s, utterance.end_s, wall_s)
            outcome = in_same_breath(self.state, meant, heard) if utterance.same_breath else None
            outcome = outcome or decide(self.state, meant, heard, moment)
            return self._carry_out(outcome, clip, heard)

    def foresee(self, utterance: Utterance) -> Ending:
        """Return how what was said up to a pause stands, and remember what it was decoded as.

        Nothing is logged: the utterance may go on. An :class:`Endpointer` asks this as its judge.
        """
        if self._recogniser is None:
            return "unsure"
        with self._lock:
            if self.ear == "taking a remark":
                found = self._remark_end(utterance)
                self._foreseen = _Foreseen(utterance.start_s, len(utterance.samples), self._graph(), found)
                return "whole" if found is not None else "unsure"
            if self.ear != "listening":
                return "unsure"
            graph = self._graph()
            decoding = self._recogniser.decode(utterance, graph)
            self._foreseen = _Foreseen(utterance.start_s, len(utterance.samples), graph, decoding)
            meant = interpret(decoding, graph, context_of(self.state), self._thresholds)
            return ending(decoding, meant, self._sheet.lexicon)

    def _known(self, utterance: Utterance, graph: PhraseGraph) -> _Foreseen | None:
        """Return what was made of an utterance in the pause that ended it; None where it was not asked."""
        known, self._foreseen = self._foreseen, None
        same = known is not None and known.graph is graph and known.is_of(utterance)
        return known if same else None

    def _decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        assert self._recogniser is not None
        known = self._known(utterance, graph)
        if known is not None and isinstance(known.heard, Decoding):
            return known.heard
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
                return self._carry_out(part(self.state, heard, text=text), None, heard)
            if meant.act == "refused" and self.state.marks.asked is None:
                # Nothing was misheard, so there is nothing to record.
                again = (*asked_now(self.state, briefly=True), *asked_again(self.state))
                replies = (Reply("not understood", meant.reason), *again)
                return self._update(replies, heard)
            return self._carry_out(decide(self.state, meant, heard, moment), None, heard)

    def command(self, name: str, how: How = "keyboard") -> Update:
        """Carry out a control word from a key."""
        moment = self._now()
        with self._lock:
            heard = Heard(text=name, how=how)
            return self._carry_out(command(self.state, name, heard, moment), None, heard)

    # the microphone -------------------------------------------------------------------------

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

    # remarks --------------------------------------------------------------------------------

    def _remark(self, utterance: Utterance, clip: Clip) -> Update:
        """Keep the sound of a part of a remark, or end it, or both. Its words are made later."""
        known = self._known(utterance, self._graph())
        found = known.heard if known is not None else self._remark_end(utterance)
        assert not isinstance(found, Decoding)
        heard = _of(utterance, clip, text=found.text if found is not None else "")
        if found is not None and found.where == "alone":
            return self._carry_out(end_of(self.state, heard), clip, heard)
        before = len(self.state.remarks)
        shown = heard.model_copy(update={"text": " ".join((DICTATED, heard.text)).strip()})
        update = self._carry_out(part(self.state, heard, ended=found is not None), clip, shown)
        self.dictation.owe(owed(self.state.remarks[before:]))
        return update

    def _remark_end(self, utterance: Utterance) -> RemarkEnd | None:
        graph, context = self._graph(), context_of(self.state)

        def hears(sound: Utterance) -> tuple[Decoding, Interpretation]:
            assert self._recogniser is not None
            decoding = self._recogniser.decode(sound, graph)
            return decoding, interpret(decoding, graph, context, self._thresholds)

        return remark_end(utterance, hears)

    def _points_of(self, words: tuple[str, ...]) -> tuple[str, ...]:
        """Return the points that a phrase says a remark is on; none where it says no such thing."""
        graph = self._graph()
        if not graph.accepts(words):
            return ()
        meanings = understand(graph.parse(words), context_of(self.state))
        return tuple(m.argument for m in meanings if m.act == "remark")

    def write_out(self) -> Update | None:
        """Make the words of all remarks that are owed, unless a thread does it; None where none are."""
        return (self.tick() or self.standing()) if self.dictation.make_all() else None

    def _transcript(self, remark: RemarkLogged) -> RemarkTranscribed:
        assert self._recogniser is not None  # nothing is owed without one
        return transcript(self._store, self._recogniser, self._sheet.lexicon, remark)

    def _transcribed(self, words: RemarkTranscribed) -> None:
        with self._lock:
            try:
                self._commit((words,), ())
            except RecordError as error:
                self._tell_later(f"{error.what.rstrip('.')}. {error.remedy}")

    def _not_transcribed(self, remark: RemarkLogged, error: Exception) -> None:
        with self._lock:
            self._tell_later(error.what.rstrip(".") if isinstance(error, VoicelogError) else str(error))

    def _tell_later(self, why: str) -> None:
        self.refused_by_record += 1
        text = f"the sound is kept, the transcript is not made yet: {why}"
        self._to_tell = (*self._to_tell, Reply("answer", text))

    def _graph(self) -> PhraseGraph:
        """Return the graph of what can be said now."""
        return self._graphs.now(self.state)

    @property
    def streaming(self) -> Streaming | None:
        """The recogniser, if it can tell words while they are spoken."""
        return self._recogniser if isinstance(self._recogniser, Streaming) else None

    def live_graph(self) -> PhraseGraph | None:
        """Return what can be said now; None while what is said is not for the walk."""
        with self._lock:
            listening = not (self.state.standing_by or self.state.in_remark or self.state.finished)
            return self._graph() if listening else None


@dataclass(frozen=True, slots=True)
class _Foreseen:
    """What was heard in an utterance that may not have ended."""

    start_s: float
    samples: int
    """How many there were."""
    graph: PhraseGraph
    heard: Decoding | RemarkEnd | None
    """While a remark is taken: its end, or None where it goes on."""

    def is_of(self, utterance: Utterance) -> bool:
        """Return whether this is all of an utterance."""
        return (self.start_s, self.samples) == (utterance.start_s, len(utterance.samples))


def _of(utterance: Utterance, clip: Clip, text: str = "", free_text: str = "") -> Heard:
    return Heard(
        text=text,
        free_text=free_text,
        clip=clip.sha256,
        start_s=round(utterance.start_s, 3),
        end_s=round(utterance.end_s, 3),
        how="speech",
    )
