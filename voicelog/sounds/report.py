"""The report of ``voicelog sheet check --sounds``: what sounds alike, where, and what to say instead."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from voicelog.errors import at
from voicelog.sheet import Unit, load_sheet, spoken_phrases
from voicelog.sounds.pairs import GRAVE, THRESHOLD, Kind, Pair, all_phrases, confusable, ear_for

_TITLES: dict[Kind, str] = {
    "polarity": "a defect and a pass",
    "side": "left and right",
    "command": "control words",
    "point": "points",
    "value": "values on the two sides of a limit (the nearest of each; the value is read back: compare it)",
}
_FEW = 3


def sounds_report(
    path: Path, threshold: float = THRESHOLD, *, unit: Unit | None = None
) -> tuple[list[str], int]:
    """Return the report's lines and the number of pairs that must not be: opposite polarity or side.

    Raises :class:`~voicelog.errors.SheetError`, and :class:`~voicelog.errors.VoicelogError` where the
    dictionary or what measures sounds is not installed.
    """
    sheet = load_sheet(path, unit=unit)
    ear = ear_for(sheet)
    found = confusable(sheet, ear, threshold)
    places = {
        phrase.text: at(phrase.path, phrase.line) for phrase in reversed(spoken_phrases(path, unit=unit))
    }
    grave = sum(pair.kind in GRAVE for pair in found)
    lines = [f"{path}: pairs less than {threshold:g} apart, where 1 is one sound lost or gained"]
    for kind, title in _TITLES.items():
        here = [pair for pair in found if pair.kind == kind]
        lines.append(f"{title}: {len(here) or 'none'}")
        for pair in here:
            lines += (f"  {line}" for line in _pair_lines(pair, places))
    known = ear.pronunciations
    unknown = [p for p in all_phrases(sheet) if not known.ways(p)]
    if known.guessed:
        lines.append(f"not in the dictionary, pronounced by espeak-ng: {', '.join(sorted(known.guessed))}")
    if unknown:
        lines.append(f"without a pronunciation, so not compared: {', '.join(unknown)}")
        lines.append("  What to do: install espeak-ng, or say it in other words.")
    return lines, grave


def _pair_lines(pair: Pair, places: Mapping[str, str]) -> Iterator[str]:
    one, other = (
        f'"{said}" ({meant})' for said, meant in zip((pair.one, pair.other), pair.meanings, strict=True)
    )
    yield f"{pair.apart:.2f}  {one} and {other}{_where(pair.stops)}"
    written = [places[said] for said in (pair.one, pair.other) if said in places]
    if pair.kind == "value":
        return
    if written:
        yield f"      written at {' and '.join(dict.fromkeys(written))}"
    if pair.instead is not None:
        phrase, said, meant = pair.instead
        yield f'      instead of "{phrase}" say "{said}"' + ("" if said == meant else f" ({meant})")
    elif pair.kind in GRAVE:
        yield "      take one of the two out: the lexicon has no other word for either"


def _where(stops: tuple[str, ...]) -> str:
    if not stops:
        return ""
    more = f" and {len(stops) - _FEW} more" if len(stops) > _FEW else ""
    return f", {', '.join(stops[:_FEW])}{more}"
