"""Looks at the machine: opens, listens, decodes, and hands what it saw to the judgements.

Nothing is written but a temporary file beside the records. Each probe tells what failed as a
finding; none raises for what a user can mend.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import datetime
from itertools import takewhile
from pathlib import Path

import numpy as np
import psutil

import voicelog
from voicelog.doctor.finding import Finding, of_error
from voicelog.doctor.judging import (
    judge_clock,
    judge_disk,
    judge_heard,
    judge_memory,
    judge_speed,
    judge_stream,
)
from voicelog.doctor.levels import judge_quiet, measure
from voicelog.errors import VoicelogError
from voicelog.hearing.audio import Block, blocks_from_file
from voicelog.hearing.endpoint import Endpointer
from voicelog.hearing.listening import Device
from voicelog.hearing.microphone import Microphone
from voicelog.hearing.portaudio import reason, sounddevice
from voicelog.hearing.recogniser import Recogniser, Samples, Utterance
from voicelog.paths import shipped
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.records.faults import faults
from voicelog.records.store import DATABASE, Store
from voicelog.sheet import load_sheet

CLIP = "Wheel chocks in place and tight."
"""The line of the recorded walk that the model is tried on."""
CLIP_QUIET_S = 0.8
PORTAUDIO, MICROPHONE, OUTPUT = "PortAudio", "microphone", "sound output"


# the machine --------------------------------------------------------------------------------


def disk(folder: Path) -> Finding:
    """Look at the disk that holds, or will hold, the records."""
    there = next(path for path in (folder, *folder.absolute().parents) if path.exists())
    try:
        if not there.is_dir():
            raise NotADirectoryError
        with tempfile.TemporaryFile(dir=there) as file:
            file.write(b"0")
        writable = True
    except OSError:
        writable = False
    return judge_disk(shutil.disk_usage(there).free, writable, str(there))


def memory() -> Finding:
    """Look at the memory that can be had without pushing others out."""
    return judge_memory(psutil.virtual_memory().available)


def clock(now: datetime, newest: datetime | None) -> Finding:
    """Look at the clock."""
    installed = datetime.fromtimestamp(Path(voicelog.__file__).stat().st_mtime).astimezone()
    return judge_clock(now, newest, installed)


def records(folder: Path, now: Callable[[], datetime]) -> tuple[Finding, datetime | None]:
    """Look at the record, if there is one; also returns when its newest event was written."""
    path = folder / DATABASE
    if not path.exists():
        return Finding("record", "good", f"none in {folder} yet; the first walk makes it"), None
    try:
        with Store.open(folder, clock=now) as store:
            newest = max((walk.last for walk in store.walks()), default=None)
            problems = store.verify_all()
        with faults(path), closing(sqlite3.connect(path, timeout=1.0, isolation_level=None)) as db:
            db.execute("BEGIN IMMEDIATE")
            db.execute("ROLLBACK")
    except VoicelogError as error:
        return of_error("record", error), None
    if problems:
        more = f" and {len(problems) - 1} more" if len(problems) > 1 else ""
        remedy = (
            "keep the data folder as it is, and compare it with a backup; voicelog verify WALK tells more"
        )
        return Finding("record", "fix", f"not whole: {problems[0]}{more}", remedy), newest
    return Finding("record", "good", f"{path} is whole and can be written"), newest


# the engine ---------------------------------------------------------------------------------


def engine_bay() -> PhraseGraph:
    """Return what can be said at the first stop of the shipped sheet."""
    sheet = load_sheet(shipped("grammars", "engine_bay.toml"))
    return compile_grammar(sheet_grammar(sheet, sheet.stops[0].id))


def model(load: Callable[[], Recogniser]) -> tuple[list[Finding], Recogniser | None]:
    """Load the model and have it hear a clip; also returns it, if it can be loaded."""
    try:
        recogniser = load()
        utterances = _utterances(clip())
        if len(utterances) != 1:
            told = "the clip that comes with voicelog is not heard as one phrase"
            return [Finding("model", "fix", told, "install voicelog again")], None
        (utterance,) = utterances
        graph = engine_bay()
        # The first decoding also makes the graph, which a walk does once.
        recogniser.decode(utterance, graph)
        decoding = recogniser.decode(utterance, graph)
    except VoicelogError as error:
        return [of_error("model", error)], None
    loaded = Finding("model", "good", f"{recogniser.name}, SHA-256 {recogniser.model_sha256[:16]}")
    heard = judge_heard(CLIP.lower().rstrip("."), decoding.best.text if decoding.best else "")
    return [loaded, heard, judge_speed(decoding.decode_s, decoding.audio_s)], recogniser


def clip() -> Iterator[Block]:
    """Yield the line of the recorded walk that the model is tried on, with the quiet around it."""
    times = json.loads(shipped("samples", "engine_61_walk.times.json").read_text(encoding="utf-8"))
    line = next(line for line in times["lines"] if line["say"] == CLIP)
    until = takewhile(
        lambda block: block.start_s < line["end_s"] + CLIP_QUIET_S,
        blocks_from_file(shipped("samples", "engine_61_walk.opus")),
    )
    return (block for block in until if block.start_s > line["start_s"] - CLIP_QUIET_S)


def _utterances(blocks: Iterator[Block]) -> list[Utterance]:
    endpointer = Endpointer()
    found = [utterance for block in blocks for utterance in endpointer.accept(block)]
    return found + endpointer.finish()


# sound --------------------------------------------------------------------------------------


def portaudio() -> Finding:
    """Look whether PortAudio is there."""
    try:
        module = sounddevice()
    except VoicelogError as error:
        return of_error(PORTAUDIO, error)
    return Finding(PORTAUDIO, "good", str(module.get_portaudio_version()[1]).partition(",")[0])


def microphone(device: Device, seconds: float) -> tuple[list[Finding], Samples]:
    """Listen for some seconds; also returns what was heard."""
    try:
        opened = Microphone(device)
        heard = _listen(opened, seconds)
    except VoicelogError as error:
        return [of_error(MICROPHONE, error)], np.zeros(0, np.float32)
    source = f", {opened.source.description}" if opened.source else ""
    name = f"{opened.name}{source}, {opened.rate:.0f} Hz"
    if opened.source is not None and opened.source.plays_back:
        remedy = "choose a microphone as the input in the system's sound settings"
        first = Finding(MICROPHONE, "look", f"{name} gives what is played, not what is said", remedy)
    else:
        first = Finding(MICROPHONE, "good", name)
    stream = judge_stream(opened.clock.drift_s, seconds, opened.overruns)
    return [first, judge_quiet(measure(heard)), stream], heard


def _listen(opened: Microphone, seconds: float) -> Samples:
    blocks: list[Block] = []
    with opened:
        while (came := opened.take()) is not None:
            blocks += came
            if blocks and blocks[-1].start_s >= seconds:
                break
    return np.concatenate([block.samples for block in blocks])


def said(device: Device, recogniser: Recogniser, seconds: float = 8.0) -> tuple[Samples, list[str]]:
    """Listen until something was said, or for ``seconds``; returns the sound and what was heard in it.

    Raises :class:`AudioError`.
    """
    graph, endpointer = engine_bay(), Endpointer()
    blocks: list[Block] = []
    found: list[Utterance] = []
    with Microphone(device) as opened:
        until = time.monotonic() + seconds
        while not found and time.monotonic() < until and (came := opened.take()) is not None:
            for block in came:
                blocks.append(block)
                found += endpointer.accept(block)
    found += endpointer.finish()
    sound = np.concatenate([np.zeros(0, np.float32), *(block.samples for block in blocks)])
    best = (recogniser.decode(utterance, graph).best for utterance in found)
    return sound, [hypothesis.text if hypothesis else "" for hypothesis in best]


def output() -> Finding:
    """Look whether sound can be played; plays nothing that can be heard."""
    try:
        module = sounddevice()
    except VoicelogError as error:
        return of_error(OUTPUT, error)
    remedy = "connect headphones or a loudspeaker, and choose it in the system's sound settings"
    try:
        info = module.query_devices(kind="output")
        with module.OutputStream(device=info["index"], channels=1, dtype="float32") as stream:
            stream.write(np.zeros((int(stream.samplerate / 10), 1), np.float32))
    except (module.PortAudioError, ValueError) as error:
        # A walk can be made without it: what is said back is on the screen as well.
        return Finding(OUTPUT, "look", f"nothing can be played ({reason(error)})", remedy)
    return Finding(OUTPUT, "good", str(info["name"]))


def processors() -> Finding:
    """Look at the processors that may be used."""
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if count < 2:
        return Finding("processor", "look", "one core: listening and decoding take turns", "use two or more")
    return Finding("processor", "good", f"{count} cores")
