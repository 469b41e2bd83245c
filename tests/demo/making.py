"""Small scripts and hand-made events for the tests of the demo."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from voicelog.demo import Line, Script, load_script
from voicelog.graphs import Graphs
from voicelog.hearing.recogniser import Decoding, Hypothesis
from voicelog.meaning.claims import make_claim
from voicelog.meaning.facts import Claim, Heard
from voicelog.meaning.interpret import interpret
from voicelog.sheet.model import Sheet
from voicelog.walk.decide import context_of, decide
from voicelog.walk.events import EntryLogged, Event, RemarkLogged, StopEntered, WalkStarted
from voicelog.walk.state import WalkState, apply

ROOT = Path(__file__).parents[2]
AT = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)

Timed = Sequence[tuple[str, tuple[str, ...], float, float]]
"""What is said, what is expected, and from which second to which."""


def write_script(folder: Path, lines: Timed, **head: object) -> Path:
    """Write a script of the shipped sheet and its times; return the script's path."""
    keys: dict[str, object] = {
        "title": "A test",
        "sheet": str(ROOT / "grammars" / "engine_bay.toml"),
        "unit": "unit.toml",
        "sound": "walk.opus",
        "times": "times.json",
        **head,
    }
    text = "[script]\n" + "".join(f"{key} = {json.dumps(value)}\n" for key, value in keys.items())
    for say, expect, _, _ in lines:
        text += f'[[line]]\nvoice = "slt"\nsay = {json.dumps(say)}\nexpect = {json.dumps(expect)}\n'
    times = [{"say": say, "start_s": start, "end_s": end} for say, _, start, end in lines]
    (folder / "times.json").write_text(json.dumps({"seconds": 60.0, "lines": times}), encoding="utf-8")
    path = folder / "script.toml"
    path.write_text(text, encoding="utf-8")
    return path


def script_of(folder: Path, *lines: tuple[str, tuple[str, ...], float, float]) -> Script:
    """Return a script of these lines."""
    return load_script(write_script(folder, lines))


def heard(start_s: float, end_s: float, text: str = "") -> Heard:
    """Return words heard between two seconds of the sound."""
    return Heard(text=text, start_s=start_s, end_s=end_s)


def entry(entry_id: str, claim: Claim, where: Heard, **more: object) -> EntryLogged:
    """Return a logged claim."""
    return EntryLogged.model_validate(
        {"entry_id": entry_id, "claim": claim, "heard": where, "posterior": {"claim": 0.99}, **more}
    )


def condition(sheet: Sheet, point_id: str, condition_id: str) -> Claim:
    """Return the claim that a point has a condition."""
    return make_claim(sheet, point_id, condition_id=condition_id)


def timed(*events: Event) -> list[tuple[datetime, Event]]:
    """Return the events at one moment: scoring reads the times of the sound alone."""
    return [(AT, event) for event in events]


def walked_without_mishearing(
    script: Script,
) -> tuple[list[tuple[datetime, Event]], WalkState, list[tuple[Line, bool]]]:
    """Return the walk's events as if every word were heard as spoken, its end, and for each line
    whether it could be said where it was spoken."""
    events: list[tuple[datetime, Event]] = []
    state, graphs = WalkState(script.sheet), Graphs(script.sheet)
    sayable: list[tuple[Line, bool]] = []

    def take(event: Event) -> None:
        nonlocal state
        events.append((AT, event))
        state = apply(state, event, AT)

    words = dict.fromkeys(WalkStarted.model_fields, "x") | {"kind": "walk started", "extent": "daily"}
    take(WalkStarted.model_validate(words))
    take(StopEntered(stop_id=script.sheet.stops[0].id))
    for line in script.lines:
        where = heard(line.start_s, line.end_s, " ".join(line.words))
        ending = line.words == ("end", "of", "remark")
        sayable.append((line, graphs.now(state).accepts(line.words)))
        if state.standing_by and line.words != ("resume",):
            continue
        if state.in_remark and not ending:
            take(RemarkLogged(remark_id="r1", point_id=state.remark_point, heard=where))
            continue
        graph = graphs.now(state)
        phrase = (Hypothesis(line.words, 0.0, 1.0),) if graph.accepts(line.words) else ()
        decoding = Decoding(phrase, 0.0, where.text, 0.0, "" if phrase else "no phrase")
        for event in decide(state, interpret(decoding, graph, context_of(state)), where).events:
            take(event)
    return events, state, sayable
