"""A folder of labelled speech, the grammar it is spoken from, and a recording of noise.

Shape: ``FOLDER/SPEECH/*.flac`` (or .wav) with ``labels.json`` beside them, ``FOLDER/*.jsgf`` and one
sound file of noise in ``FOLDER``. A label maps slots (named rules of the grammar) to their words;
there is no transcript. All sound is mono at 16 kHz.
"""

from __future__ import annotations

import hashlib
import json
import random
from dataclasses import dataclass
from pathlib import Path

import soundfile

from tests.benchmarks.hearing.mixing import Pcm, Samples, mix
from voicelog.errors import VoicelogError, at

RATE = 16_000
SOUND = (".flac", ".wav")
Slots = dict[str, str]


@dataclass(frozen=True, slots=True)
class Dataset:
    """Where everything lies, and the labels."""

    speech: Path
    grammar: Path
    noise: Path
    labels: dict[str, Slots]
    """By file name without suffix; only those whose sound is there."""
    files: dict[str, Path]

    @property
    def fingerprint(self) -> str:
        """SHA-256 over labels, grammar and noise: two runs with the same one may be joined."""
        digest = hashlib.sha256(json.dumps(self.labels, sort_keys=True).encode())
        for path in (self.grammar, self.noise):
            digest.update(path.read_bytes())
        return digest.hexdigest()


def open_dataset(folder: Path, speech: str | None, grammar: Path | None, noise: Path | None) -> Dataset:
    """Return the data set in ``folder``; what is not named must be there exactly once.

    Raises :class:`VoicelogError` with what is missing.
    """
    if not folder.is_dir():
        raise VoicelogError("there is no such folder", where=str(folder), remedy="give --data FOLDER")
    inside = folder / speech if speech else _only(sorted(folder.glob("*/labels.json")), folder, "--speech")
    labels_file = inside / "labels.json" if speech else inside
    try:
        labels = json.loads(labels_file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise VoicelogError(
            f"the labels cannot be read ({error})",
            where=str(labels_file),
            remedy="give a folder with labels.json: file name without suffix to slots",
        ) from error
    sounds = {p.stem: p for p in sorted(labels_file.parent.iterdir()) if p.suffix.lower() in SOUND}
    files = {stem: path for stem, path in sounds.items() if stem in labels}
    if not files:
        raise VoicelogError("no sound file here has a label", where=str(labels_file.parent))
    noises = [p for p in sorted(folder.iterdir()) if p.suffix.lower() in SOUND]
    return Dataset(
        speech=labels_file.parent,
        grammar=grammar or _only(sorted(folder.glob("*.jsgf")), folder, "--grammar"),
        noise=noise or _only(noises, folder, "--noise"),
        labels={stem: labels[stem] for stem in files},
        files=files,
    )


def _only(found: list[Path], folder: Path, option: str) -> Path:
    if len(found) == 1:
        return found[0]
    names = ", ".join(path.name for path in found) or "none"
    raise VoicelogError(f"one is needed, found {names}", where=str(folder), remedy=f"choose it with {option}")


def chosen(stems: list[str], count: int | None, seed: int) -> list[str]:
    """Return a seeded sample in the order of names, all of them without ``count``.

    A larger sample with the same seed contains the smaller one, so that a run can be extended.
    """
    ordered = sorted(stems)
    if count is None or count >= len(ordered):
        return ordered
    shuffled = ordered[:]
    random.Random(seed).shuffle(shuffled)
    return sorted(shuffled[:count])


def half(stem: str) -> str:
    """Return the half, A or B, that an utterance belongs to: by the SHA-256 of its name, for good."""
    return "AB"[hashlib.sha256(stem.encode()).digest()[0] & 1]


def read_mono(path: Path) -> Samples:
    """Return a file's samples. Raises :class:`VoicelogError` unless it is mono at 16 kHz."""
    try:
        samples, rate = soundfile.read(path)
    except (OSError, soundfile.LibsndfileError) as error:
        raise VoicelogError(f"the sound cannot be read ({error})", where=at(path)) from error
    if rate != RATE or samples.ndim != 1:
        raise VoicelogError(
            f"the sound is not mono at {RATE} Hz",
            where=at(path),
            remedy="convert it, for example: sox IN -c 1 -r 16000 OUT",
        )
    mono: Samples = samples
    return mono


def sound(data: Dataset, stem: str, ratio: float | None, noise: Samples) -> Pcm:
    """Return one utterance at a ratio in decibels, or as it was recorded when there is none."""
    speech = read_mono(data.files[stem])
    if ratio is None:
        pcm: Pcm = soundfile.read(data.files[stem], dtype="int16")[0]
        return pcm
    return mix(speech, noise, ratio, stem)
