"""What every command does with the terminal: words on standard error, and whether a screen can be drawn."""

from __future__ import annotations

import gc
import sys

import click

from voicelog.errors import VoicelogError


def harmless(text: object) -> str:
    """Return lines of text, their indents kept, that can do nothing to a terminal."""
    from voicelog.screens.outside_text import visible

    lines = str(text).split("\n")
    return "\n".join(" " * (len(line) - len(line.lstrip(" "))) + visible(line) for line in lines)


def say(text: str) -> None:
    """Print to standard error; what was quoted from outside can do nothing to the terminal."""
    click.echo("voicelog: " + harmless(text), err=True)


def check_screen(plain: bool) -> None:
    """Raise :class:`VoicelogError` where a screen is asked for and there is none to draw on."""
    # The screen reads keys from standard input and is drawn on standard error.
    if not plain and not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise VoicelogError("the screen needs a terminal", remedy="give --plain for lines instead")


def collect_seldom() -> None:
    """Let Python look less often for objects that nothing uses any more.

    What a command has loaded stays until it ends. By default it is gone through again and again while
    more is loaded: that took half of the time in which the review's screen opens.
    """
    gc.set_threshold(50_000)
