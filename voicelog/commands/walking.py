"""``voicelog walk``, ``demo`` and ``voice``: what is done with the voice."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from voicelog.commands.engine_options import decides_option, vosk_option
from voicelog.commands.pins import ask_pin, pin_option, signer_for
from voicelog.commands.terminal import check_screen

if TYPE_CHECKING:
    from voicelog.hearing.engines import Decides
    from voicelog.sheet.model import Extent
    from voicelog.voice.answers import ReadBack


def _walk_options(command: Callable[..., None]) -> Callable[..., None]:
    for option in reversed(
        (
            click.option("--plain", is_flag=True, help="Lines instead of a screen."),
            click.option(
                "--model", type=click.Path(path_type=Path), help="Folder of another English Whisper model."
            ),
        )
    ):
        command = option(command)
    return command


_OUTPUT = click.option("--output", help="Sound output by name or number; see: voicelog devices.")


def _by_ear_options(command: Callable[..., None]) -> Callable[..., None]:
    read_back = click.option(
        "--read-back",
        type=click.Choice(["every", "defects", "tones", "nothing"]),
        help="What is read back aloud: every entry, defects and readings, tones alone, or nothing.",
    )
    return read_back(_OUTPUT(command))


@click.command()
@_walk_options
@_by_ear_options
@click.option("--real-time", is_flag=True, help="Play at the speed it was spoken.")
@click.option("--report", "report_folder", type=click.Path(path_type=Path), help="Where to write the report.")
@click.pass_obj
def demo(
    data: Path | None,
    plain: bool,
    model: Path | None,
    read_back: ReadBack | None,
    output: str | None,
    real_time: bool,
    report_folder: Path | None,
) -> None:
    """Run the recorded walk of Engine 61.

    It tells what was heard right, and writes the report.
    """
    from voicelog.recorded_walk import run_demo
    from voicelog.running import ByEar

    check_screen(plain)
    sys.exit(
        run_demo(
            data,
            plain=plain,
            model=model,
            real_time=real_time,
            report_folder=report_folder,
            by_ear=ByEar(read_back, output),
        )
    )


@click.command()
@_walk_options
@_by_ear_options
@vosk_option
@decides_option
@click.option("--unit", "unit_path", type=click.Path(path_type=Path), required=True, help="The unit's file.")
@click.option(
    "--sheet",
    "sheet_path",
    type=click.Path(path_type=Path),
    help="The check sheet; by default the unit's first.",
)
@click.option("--operator", required=True, help="Who inspects.")
@click.option(
    "--extent",
    type=click.Choice(["daily", "weekly", "monthly"]),
    help="Which points; a weekly walk has the daily ones too. By default daily.",
)
@click.option(
    "--from", "recording", type=click.Path(path_type=Path), help="A recording instead of the microphone."
)
@click.option("--keyboard", is_flag=True, help="No microphone: type what you would say.")
@click.option("--device", help="Microphone by name or number; see: voicelog devices.")
@click.option(
    "--headset",
    is_flag=True,
    help="What is played does not reach the microphone: you may speak over the voice.",
)
@click.option("--new", "always_new", is_flag=True, help="Begin a new walk even if one is unfinished.")
@pin_option("pin-file", "the operator's")
@click.pass_obj
def walk(
    data: Path | None,
    plain: bool,
    model: Path | None,
    read_back: ReadBack | None,
    output: str | None,
    vosk: Path | None,
    decides: Decides | None,
    unit_path: Path,
    sheet_path: Path | None,
    operator: str,
    extent: Extent | None,
    recording: Path | None,
    keyboard: bool,
    device: str | None,
    headset: bool,
    always_new: bool,
    pin_file: Path | None,
) -> None:
    """Inspect a unit: begin a walk, or take up the unfinished one."""
    from voicelog.hearing.engines import Engines
    from voicelog.running import ByEar, Source, run_walk

    if keyboard and (recording is not None or device is not None):
        raise click.UsageError("--keyboard listens to nothing: leave out --from and --device")
    if recording is not None and device is not None:
        raise click.UsageError("give --from or --device, not both")
    check_screen(plain)
    source = Source(recording=recording, keyboard=keyboard, device=device, headset=headset)
    sys.exit(
        run_walk(
            data,
            unit_path=unit_path,
            sheet_path=sheet_path,
            operator=operator,
            source=source,
            plain=plain,
            engines=Engines(model, vosk, decides),
            always_new=always_new,
            extent=extent,
            pin=partial(signer_for, name=operator, file=pin_file),
            # Piped in, the PIN is the line after the name; typed, it is not shown.
            ask_pin=lambda name: ask_pin(name, None if sys.stdin.isatty() else Path("-")),
            by_ear=ByEar(read_back, output),
        )
    )


@click.command()
@_OUTPUT
def voice(output: str | None) -> None:
    """Play the four tones with what they mean.

    It also tells which voice reads back.
    """
    from voicelog.voice.check import play_tones, voice_found

    found, name = voice_found()
    click.echo(f"voice: {name}" if found else name)
    play_tones(output, click.echo)
