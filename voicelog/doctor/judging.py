"""Judgements on disk, memory, clock and speed, from plain numbers. Pure."""

from __future__ import annotations

from datetime import datetime, timedelta

from voicelog.doctor.finding import Finding
from voicelog.hearing.recogniser import RATE

HOUR_BYTES = 2 * RATE * 3600
"""What an hour of speech without a pause takes on the disk, before it is packed: the most it can be."""
ENGINE_BYTES = 400 * 2**20
"""What the engine takes at most (README, Limits), and some more."""
DRIFT_TELLING_S = 30.0
"""From this long on drift is told: it is known to some 10 ms, whatever the length."""
SLACK = timedelta(minutes=2)
"""By which two clocks may differ before it is told."""


def judge_disk(free: int, writable: bool, folder: str) -> Finding:
    """Judge the room for records: ``free`` bytes where ``folder`` is or will be."""
    hours = free / HOUR_BYTES
    told = f"{free / 2**30:.1f} GiB free in {folder}; an hour needs at most {HOUR_BYTES / 2**20:.0f} MiB"
    if not writable:
        return Finding(
            "disk",
            "fix",
            f"{folder} cannot be written",
            "change its rights, or choose another with --data FOLDER",
        )
    if hours < 1:
        return Finding("disk", "fix", told, "make room, or choose another disk with --data FOLDER")
    if hours < 10:
        return Finding("disk", "look", told, "make room soon")
    return Finding("disk", "good", told)


def judge_memory(available: int) -> Finding:
    """Judge the memory that is free for a walk, in bytes."""
    told = f"{available / 2**20:.0f} MiB to spare; the engine takes up to {ENGINE_BYTES / 2**20:.0f} MiB"
    if available < ENGINE_BYTES:
        return Finding("memory", "look", told, "close other programs")
    return Finding("memory", "good", told)


def judge_clock(now: datetime, newest_record: datetime | None, installed: datetime) -> Finding:
    """Judge the clock against what it said before: at the newest record, and when voicelog was installed."""
    zone = now.tzname() or "no name"
    told = f"{now:%Y-%m-%d %H:%M}, time zone {zone} ({now:%z})"
    remedy = "set the clock; records keep the time that it shows"
    if newest_record is not None and now < newest_record - SLACK:
        return Finding(
            "clock", "fix", f"{told}, before the newest record ({newest_record:%Y-%m-%d %H:%M})", remedy
        )
    if now < installed - SLACK:
        return Finding(
            "clock", "fix", f"{told}, before voicelog was installed ({installed:%Y-%m-%d})", remedy
        )
    return Finding("clock", "good", told)


def judge_speed(decode_s: float, sound_s: float) -> Finding:
    """Judge how long a phrase took to decode, against how long it took to say."""
    told = f"a phrase of {sound_s:.1f} s takes {decode_s:.1f} s"
    if decode_s > sound_s:
        return Finding(
            "speed",
            "look",
            f"{told}: answers will come late",
            "close other programs, or use a faster machine",
        )
    return Finding("speed", "good", told)


def judge_heard(expected: str, heard: str) -> Finding:
    """Judge what the engine made of the clip that voicelog brings along."""
    if heard != expected:
        return Finding(
            "model",
            "fix",
            f'the clip that says "{expected}" was heard as "{heard or "nothing"}"',
            "install voicelog again; with --model FOLDER, use another model",
        )
    return Finding("model", "good", f'hears "{heard}" in the clip that comes with it')


def judge_stream(drift_s: float, seconds: float, overruns: int) -> Finding:
    """Judge a stream that was listened to for ``seconds``: what was missed, and how its clock ran.

    ``drift_s`` is what the device's clock lost against the wall clock; below 0, gained.
    """
    if overruns:
        missed = "once" if overruns == 1 else f"{overruns} times"
        return Finding("microphone stream", "look", f"sound was missed {missed}", "close other programs")
    told = "no sound missed"
    if seconds >= DRIFT_TELLING_S:
        did = "lost" if drift_s > 0 else "gained"
        told += f"; in {seconds:.0f} s its clock {did} {abs(drift_s) * 1000:.0f} ms, which is taken out"
    return Finding("microphone stream", "good", told)
