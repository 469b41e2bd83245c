"""Putting the pieces together: a source of sound, a walk, a store and a view."""

from __future__ import annotations

import hashlib
import io
import sys
import threading
import time
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass, replace
from itertools import chain, islice
from pathlib import Path

import click

from voicelog.clock import now
from voicelog.conduct import Conductor
from voicelog.errors import ModelError, PersonError, VoicelogError, WalkError
from voicelog.feeding import conduct, keep_time, paced
from voicelog.handing_over import HandingOver, named_in
from voicelog.hearing.audio import Block, blocks_from_file
from voicelog.hearing.endpoint import Endpointer
from voicelog.hearing.engines import Engines, make_recogniser
from voicelog.hearing.listening import Listening, Sound
from voicelog.hearing.recogniser import OfAVocabulary, Recogniser
from voicelog.loading import added_points, load_walk, sheet_path_of
from voicelog.paths import data_folder
from voicelog.people.keys import Signer
from voicelog.phrases.commands import language_of
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.records.store import Store
from voicelog.screens.plain import PlainView
from voicelog.sheet import load_sheet, load_unit, of_extent
from voicelog.sheet.model import Extent, Sheet
from voicelog.taking_up import take_up_all
from voicelog.voice.aloud import Aloud, aloud
from voicelog.voice.answers import ReadBack
from voicelog.voice.floor import Floor
from voicelog.voice.listening import ListeningBesideVoice
from voicelog.walk.events import WalkStarted
from voicelog.walk.remarks import owed
from voicelog.walk.replies import Reply, Update

Show = Callable[[Update], None]


@dataclass(frozen=True, slots=True)
class ByEar:
    """How the walk answers by ear."""

    read_back: ReadBack | None = None
    """None: defects and readings to who speaks into a microphone, and nothing to others."""
    output: str | None = None
    """The sound output, by name or number; None is the system's default."""

    def level(self, *, live: bool) -> ReadBack:
        """Return what is read back; ``live`` is whether a microphone is listened to."""
        return self.read_back or ("defects" if live else "nothing")


@dataclass(frozen=True, slots=True)
class Source:
    """Where the words come from. With neither recording nor keyboard, the microphone."""

    recording: Path | None = None
    keyboard: bool = False
    device: str | None = None
    headset: bool = False
    """Whether what is played does not reach the microphone."""

    @property
    def name(self) -> str:
        """What the record says of it: ``keyboard``, ``microphone``, or the recording's SHA-256."""
        if self.keyboard:
            return "keyboard"
        if self.recording is None:
            return "microphone"
        with self.recording.open("rb") as file:
            return f"recording {hashlib.file_digest(file, 'sha256').hexdigest()}"


def run_walk(
    data: Path | None,
    *,
    unit_path: Path,
    sheet_path: Path | None,
    operator: str,
    source: Source,
    plain: bool,
    engines: Engines,
    always_new: bool,
    extent: Extent | None = None,
    pin: Callable[[Store], Signer | None] = lambda store: None,
    ask_pin: Callable[[str], str] = lambda name: "",
    by_ear: ByEar = ByEar(),
) -> int:
    """Begin or resume a walk and run it to its end. Returns the exit code.

    Without ``extent`` an unfinished walk keeps its own, and a new one is a daily one. ``pin`` asks
    for the operator's PIN where people are on record, and returns their open key; ``ask_pin`` asks for
    that of a person, by name, who takes the walk over.
    """
    unit = load_unit(unit_path)
    sheet = load_sheet(sheet_path or sheet_path_of(unit.sheets[0], unit_path.parent), unit=unit)
    with ExitStack() as held:
        store = held.enter_context(Store.open(data_folder(data), clock=now))
        signer = pin(store)
        recogniser = None if source.keyboard else make_recogniser(engines)
        blocks = _blocks(source, held)
        for left in take_up_all(store, lambda walk: load_walk(store, walk, None)[0]):
            click.echo(f"voicelog: {left}", err=True)
        open_walk = None if always_new else store.open_walk(unit.id, sheet.id)
        before = store.events(open_walk) if open_walk else ()
        sheet = of_extent(sheet, _extent(store, open_walk, extent), added_points(before))
        _hears_every_defect(recogniser, sheet)
        conductor = Conductor(store, sheet, unit, recogniser, clock=now, signer=signer)
        if open_walk:
            held.enter_context(store.lock(open_walk))
            first = conductor.resume(open_walk, operator, source.name)
        else:
            store.keep_editions(sheet)
            first = conductor.begin(operator, source.name)
            # A second window that was quicker now holds it; then this one stops here.
            held.enter_context(store.lock(conductor.walk_id))
        first = _telling_unheard(first, recogniser, conductor)
        floor = Floor()
        live = isinstance(blocks, Listening)
        voice = held.enter_context(speaking(conductor, by_ear, floor, live=live, headset=source.headset))
        writing_out = ExitStack()
        if live:
            writing_out.enter_context(conductor.dictation.behind())
        try:
            heard = conductor.heard_until(source.name) if source.recording else 0.0
            sound = _from(blocks, heard)
            if source.recording is not None and by_ear.read_back is not None:
                sound = _at_its_own_pace(sound)
            zero_s = (lambda: blocks.zero_s) if isinstance(blocks, Listening) else (lambda: None)
            endpointer = ListeningBesideVoice(floor, zero_s, headset=source.headset, judge=conductor.foresee)
            feed = _feed(conductor, sound, first, endpointer)
            return show_walk(
                conductor,
                feed,
                voice,
                plain=plain,
                typing=source.keyboard,
                title=unit.name,
                hands=HandingOver(store, conductor),
                ask_pin=ask_pin,
            )
        finally:
            if isinstance(blocks, Listening):
                conductor.stream_ended(blocks.summary())
            if conductor.dictation.owes:
                click.echo("making the transcripts of the last remarks", err=True)
            writing_out.close()
            # Also after Ctrl-C or a lost microphone: what was acknowledged is kept.
            click.echo(_how_it_ended(conductor), err=True)


def _extent(store: Store, open_walk: str | None, asked: Extent | None) -> Extent:
    """Return the extent of the walk to come: an unfinished one has its own, which cannot be changed."""
    started = store.events(open_walk)[0].event if open_walk else None
    if not isinstance(started, WalkStarted):
        return asked or "daily"
    if asked is not None and asked != started.extent:
        raise WalkError(
            f"the unfinished walk {open_walk} is a {started.extent} one",
            remedy=f"take it up with --extent {started.extent}, or begin a {asked} one with --new",
        )
    return started.extent


def _hears_every_defect(recogniser: Recogniser | None, sheet: Sheet) -> None:
    """Raise :class:`ModelError` where a defect can be said that the engine has no words for.

    It could only be refused, or heard as something else that it has words for.
    """
    if not isinstance(recogniser, OfAVocabulary):
        return
    unknown = set(recogniser.unknown_words(compile_grammar(sheet_grammar(sheet, sheet.stops[0].id))))
    aspects = {aspect for point in sheet.points.values() for aspect in point.aspects}
    unheard = [
        phrase
        for condition in sheet.lexicon.conditions_of(tuple(sorted(aspects)))
        if condition.polarity == "defect"
        for phrase in condition.say
        if unknown & set(phrase.split())
    ]
    if unheard:
        shown = ", ".join(f'"{phrase}"' for phrase in unheard[:3])
        raise ModelError(
            f"the Vosk model cannot hear {len(unheard)} of the defects of this sheet, such as {shown}",
            where=recogniser.name,
            remedy="let both engines decide (--decides both), or say these defects in other words: "
            "voicelog sheet check --vosk FOLDER names them",
        )


def _telling_unheard(first: Update, recogniser: Recogniser | None, conductor: Conductor) -> Update:
    """Add to the first update the words that can be said here and that the engine cannot hear."""
    graph = conductor.live_graph()
    if graph is None or not isinstance(recogniser, OfAVocabulary):
        return first
    unheard = recogniser.unknown_words(graph)
    if not unheard:
        return first
    shown = ", ".join(unheard[:5]) + (f" and {len(unheard) - 5} more" if len(unheard) > 5 else "")
    text = f"the Vosk model cannot hear: {shown}. To see all: voicelog sheet check --vosk FOLDER"
    return replace(first, replies=(*first.replies, Reply("caution", text)))


def _how_it_ended(conductor: Conductor) -> str:
    walk_id, left = conductor.walk_id, len(owed(conductor.state.remarks))
    if conductor.state.finished is None:
        return f"the walk {walk_id} is not complete; the same command takes it up again"
    missing = f"{left} without a transcript yet: voicelog transcribe {walk_id}; " if left else ""
    return f"the walk {walk_id} is complete; {missing}next: voicelog review {walk_id}"


def _blocks(source: Source, held: ExitStack) -> Iterable[Sound] | None:
    """Return the sound, already open: a walk that nothing can be heard of must not be begun."""
    if source.keyboard:
        return None
    if source.recording is None:
        return held.enter_context(Listening(source.device))
    blocks = blocks_from_file(source.recording)
    return chain(list(islice(blocks, 1)), blocks)


def _from(blocks: Iterable[Sound] | None, start_s: float) -> Iterable[Sound] | None:
    """Return the blocks from ``start_s`` on: what came before was heard before."""
    if blocks is None or not start_s:
        return blocks
    return (b for b in blocks if not isinstance(b, Block) or b.start_s >= start_s)


def _at_its_own_pace(blocks: Iterable[Sound] | None) -> Iterable[Sound] | None:
    if blocks is None:
        return None
    return paced((b for b in blocks if isinstance(b, Block)), 1.0, time.sleep, time.monotonic)


def speaking(
    conductor: Conductor, by_ear: ByEar, floor: Floor, *, live: bool, headset: bool
) -> AbstractContextManager[Aloud]:
    """Return the voice that answers, at the level asked for, in the language of the sheet."""
    language = language_of(conductor.state.sheet.lexicon).name
    level = by_ear.level(live=live)
    return aloud(level, floor, device=by_ear.output, language=language, headset=headset)


def _feed(
    conductor: Conductor, blocks: Iterable[Sound] | None, first: Update, endpointer: Endpointer
) -> Callable[[Show], None]:
    def feed(show: Show) -> None:
        show(first)
        if blocks is not None:
            conduct(conductor, blocks, endpointer, show)

    return feed


def show_walk(
    conductor: Conductor,
    feed: Callable[[Show], None],
    voice: Aloud,
    *,
    plain: bool,
    typing: bool,
    title: str,
    hands: HandingOver,
    ask_pin: Callable[[str], str],
) -> int:
    """Run the feed with the screen, or lines, and the voice as its views. Returns the exit code."""

    def to_both(show: Show) -> None:
        try:
            feed(lambda update: show(voice.hear(update)))
        except VoicelogError as error:
            voice.fail(error, conductor.state.sheet.lexicon)
            raise

    if plain:
        view = PlainView(sys.stdout)
        to_both(view.show)
        if typing:
            _read_lines(conductor, lambda update: view.show(voice.hear(update)), hands, ask_pin)
        code = 1 if conductor.refused_by_record > 0 else 0
        if code:
            click.echo("not everything was logged: see the lines marked trouble", err=True)
    else:
        from voicelog.screens.walk_screen import WalkApp

        def hand_over(name: str, pin: str) -> Update:
            return voice.hear(hands.to(name, lambda: pin))

        def timed_feed(show: Show) -> None:
            to_both(show)
            if typing and conductor.has_timed_tests:
                # Never set: the screen's end stops it.
                keep_time(conductor, lambda update: show(voice.hear(update)), threading.Event().wait)

        app = WalkApp(
            timed_feed,
            on_typed=lambda text: voice.hear(conductor.typed(text)),
            on_command=lambda name: voice.hear(conductor.command(name)),
            on_hand_over=hand_over,
            pins=lambda: hands.pins,
            title=title,
            keyboard=typing,
        )
        code = app.run() or 0
    if conductor.state.finished is not None:
        voice.let_finish()
    return code


def _typed(conductor: Conductor, line: str, hands: HandingOver, ask_pin: Callable[[str], str]) -> Update:
    """Take one typed line: what would be said, or who the walk is handed to."""
    name = named_in(line)
    if name is None:
        return conductor.typed(line)
    try:
        return hands.to(name, lambda: ask_pin(name))
    except (PersonError, WalkError) as error:
        return conductor.told(f"not handed over: {error.what}. {error.remedy}")


def _read_lines(conductor: Conductor, show: Show, hands: HandingOver, ask_pin: Callable[[str], str]) -> None:
    if isinstance(sys.stdin, io.TextIOWrapper):
        # Bytes that are no text are words that are not understood; they must not end the walk.
        sys.stdin.reconfigure(errors="replace")
    one_at_a_time, over = threading.Lock(), threading.Event()

    def show_alone(update: Update) -> None:
        with one_at_a_time:
            show(update)

    clock = threading.Thread(target=keep_time, args=(conductor, show_alone, over.wait), daemon=True)
    if conductor.has_timed_tests:
        clock.start()
    try:
        for line in sys.stdin:
            if line.strip():
                show_alone(_typed(conductor, line.strip(), hands, ask_pin))
            if conductor.state.finished is not None:
                return
    finally:
        over.set()
        if clock.is_alive():
            clock.join()
