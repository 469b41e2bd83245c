"""The walk as plain lines."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from voicelog.errors import AudioError
from voicelog.screens.plain import PlainView
from voicelog.walk.events import CommandHeard, DoubtSettled, EntryWithdrawn, Event, Heard, WalkFinished
from voicelog.walk.replies import Reply, Update

from .making import BEGIN, condition, doubtful, last_update, started, updates, walk_events

GOLDEN = Path(__file__).parent / "golden" / "plain_walk.txt"


def _whole_walk() -> list[Event]:
    events = walk_events()
    claim = doubtful("8", ("steering_gear", "dripping")).claim
    return [
        *events,
        DoubtSettled(entry_id="8", claim=claim, by="J. Okafor", reason="answered by voice"),
        EntryWithdrawn(entry_id="11", by="J. Okafor", reason="disregarded by voice"),
        CommandHeard(command="stand by", heard=Heard(text="stand by")),
        CommandHeard(command="resume", heard=Heard(text="resume")),
        WalkFinished(missing=("drag_link", "brake_hose_left")),
    ]


def _printed(made: list[Update]) -> str:
    out = io.StringIO()
    view = PlainView(out)
    for update in made:
        view.show(update)
    return out.getvalue()


def test_a_walk_is_printed_as_the_golden_file_has_it() -> None:
    """A whole walk gives the same lines as the file that was read and agreed."""
    assert _printed(updates(_whole_walk())) == GOLDEN.read_text(encoding="utf-8")


def test_every_line_has_a_time_a_word_and_one_fact() -> None:
    """A program can cut every line at fixed columns: time to 8, word from 10 to 24, fact from 26."""
    for line in _printed(updates(_whole_walk())).splitlines():
        time, word, fact = line[:8], line[10:24].strip(), line[26:]
        assert timedelta(0) <= _seconds(time) - _seconds("07:00:00") < timedelta(hours=1)
        assert word and fact and line[8:10] == "  " and line[24:26] == "  "


def _seconds(time: str) -> timedelta:
    hours, minutes, seconds = (int(part) for part in time.split(":"))
    return timedelta(hours=hours, minutes=minutes, seconds=seconds)


def test_an_update_with_only_a_level_prints_nothing() -> None:
    """Levels come many times a second and must not flood a screen reader."""
    last = updates(walk_events())[-1]
    quiet = replace(last, replies=(), heard=None, level_dbfs=-3.0)
    assert _printed([last, quiet, quiet]) == _printed([last])


@pytest.mark.parametrize(
    "name",
    [
        "\x1b[31mJ. Okafor\x1b[0m",
        "\x1b]8;;http://example.org\x1b\\J. Okafor\x1b]8;;\x1b\\",
        "J.\x07 Okafor\x00",
        "J.\u202e Okafor",
        "J.\r\n Okafor",
    ],
)
def test_a_name_cannot_command_the_terminal(name: str) -> None:
    """Escapes, bells, line ends and marks that turn text around do not reach the output."""
    printed = _printed(updates([started(operator=name)]))
    assert "07:00:00  operator        J. Okafor\n" in printed
    assert all(c == "\n" or c.isprintable() for c in printed)


def test_an_ascii_output_gets_ascii() -> None:
    """Accents go, and letters without an ASCII form are marked, where the output knows only ASCII."""
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding="ascii", newline="\n")
    PlainView(out).show(updates([started(operator="Zoë Łukasz \u2013 driver")])[0])
    assert b"operator        Zoe ?ukasz - driver\n" in raw.getvalue()


def test_a_utf8_output_keeps_names_as_they_are() -> None:
    """Names are not changed where the output can carry them."""
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding="UTF-8", newline="\n")
    PlainView(out).show(updates([started(operator="Zoë Łukasz")])[0])
    assert "operator        Zoë Łukasz\n".encode() in raw.getvalue()


@pytest.mark.parametrize(
    ("error", "expected"),
    [
        (
            AudioError("the microphone is gone", where="device 2", remedy="plug it in"),
            "07:00:00  trouble         device 2: the microphone is gone\n"
            "07:00:00  what to do      plug it in\n",
        ),
        (
            ZeroDivisionError("division by zero"),
            "07:00:00  trouble         voicelog itself failed: ZeroDivisionError: division by zero.\n",
        ),
    ],
)
def test_trouble_is_said_in_words(error: Exception, expected: str) -> None:
    """An error is printed with what to do, and never as a traceback."""
    out = io.StringIO()
    view = PlainView(out)
    view.show(updates([started()])[0])
    before = len(out.getvalue())
    view.show_trouble(error)
    said = out.getvalue()[before:]
    assert said.startswith(expected)
    assert "Traceback" not in said


def test_a_doubt_is_never_printed_as_logged() -> None:
    """An entry in doubt is printed with its question, and not among what was logged."""
    printed = _printed(
        updates([started(), doubtful("1", ("wheel_chocks", "tight"), ("wheel_chocks", "loose"))])
    )
    assert "in doubt        wheel chocks: tight or loose" in printed
    assert "  doubt           wheel chocks: tight or loose?" in printed
    assert "point           wheel chocks: doubt" in printed
    assert "logged" not in printed


def test_a_typed_line_is_told_from_speech() -> None:
    """What was typed is printed as typed."""
    update = last_update([started(), condition("1", "cab_prop", "tight")], Reply("answer", "yes"))
    typed = replace(update, heard=Heard(text="cab prop tight", how="keyboard"))
    assert '  typed           "cab prop tight"' in _printed([typed])


def test_the_time_is_that_of_the_last_event() -> None:
    """The view has no clock of its own."""
    last = updates(walk_events())[-1]
    assert last.state.last_at is not None and last.state.last_at > BEGIN
    assert f"{last.state.last_at:%H:%M:%S}  next" in _printed([last])
