"""The ``voicelog`` command: the one place that words errors for people and sets exit codes."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from voicelog import __version__
from voicelog.commands.across import history, overview
from voicelog.commands.people import people
from voicelog.commands.pins import ask_pin, pin_option, signer_for
from voicelog.commands.policy import policy
from voicelog.commands.records import backup, export, verify
from voicelog.commands.remarks import transcribe
from voicelog.commands.retention import retention
from voicelog.commands.shop import shop
from voicelog.commands.sound import devices, doctor
from voicelog.commands.terminal import check_screen, say
from voicelog.commands.walks import report, review, settle, sign, walks
from voicelog.errors import VoicelogError

if TYPE_CHECKING:
    from voicelog.hearing.engines import Decides
    from voicelog.sheet.model import Extent, Unit
    from voicelog.voice.answers import ReadBack

# Heavy imports are inside the commands, so that help and sheet checks answer at once.


INTERRUPTED = 130
"""Exit code after Ctrl-C: 128 and the signal's number, as shells have it."""


class _Group(click.Group):
    """Turns the errors a user can act on into a sentence on standard error and exit code 2."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except VoicelogError as error:
            say(str(error))
            ctx.exit(2)
        except KeyboardInterrupt:
            say("stopped by the keyboard; what was acknowledged is kept")
            ctx.exit(INTERRUPTED)
        except BrokenPipeError:
            _give_up_output()
            ctx.exit(1)
        except OSError as error:
            place = f"{error.filename}: " if error.filename else ""
            reason = (error.strerror or str(error)).lower()
            remedy = "check the disk, the file's permissions, and where the output goes"
            say(f"{place}this could not be read or written ({reason})\n  What to do: {remedy}")
            _give_up_output()
            ctx.exit(2)


def _give_up_output() -> None:
    """Let the rest of standard output go, so that nothing is tried with it again at the exit."""
    sys.stdout = open(os.devnull, "w")  # noqa: SIM115 - stays open until the exit


@click.group(cls=_Group)
@click.version_option(__version__, prog_name="voicelog")
@click.option(
    "--data",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="VOICELOG_DATA",
    help="Folder of the records; by default the user's own data folder.",
)
@click.pass_context
def main(ctx: click.Context, data: Path | None) -> None:
    """Hands-free inspection logging, offline. voicelog records; it never declares a vehicle safe."""
    ctx.obj = data
    # Closed outright by the caller; then what is printed goes nowhere, and nothing is typed.
    if sys.stdout is None:
        _give_up_output()
    if sys.stdin is None:
        sys.stdin = open(os.devnull)  # noqa: SIM115


main.add_command(people)
main.add_command(shop)
main.add_command(doctor)
main.add_command(devices)
main.add_command(policy)
for command in (
    history,
    overview,
    export,
    verify,
    backup,
    transcribe,
    retention,
    walks,
    review,
    settle,
    sign,
    report,
):
    main.add_command(command)


# the walk -----------------------------------------------------------------------------------


_VOSK = click.option("--vosk", type=click.Path(path_type=Path), help="Folder of a Vosk model.")
_DECIDES = click.option(
    "--decides",
    type=click.Choice(["whisper", "vosk", "both"]),
    help="Whose answer counts; with a Vosk model both, unless you choose.",
)


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


@main.command()
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


@main.command()
@_walk_options
@_by_ear_options
@_VOSK
@_DECIDES
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


@main.command()
@_OUTPUT
def voice(output: str | None) -> None:
    """Play the four tones with what they mean.

    It also tells which voice reads back.
    """
    from voicelog.voice.check import play_tones, voice_found

    found, name = voice_found()
    click.echo(f"voice: {name}" if found else name)
    play_tones(output, click.echo)


# decoding -----------------------------------------------------------------------------------


@main.command()
@click.option("--grammar", type=click.Path(path_type=Path), required=True, help="A grammar in JSGF.")
@click.option("--model", type=click.Path(path_type=Path), help="Folder of another English Whisper model.")
@_VOSK
@_DECIDES
@click.option("--json", "as_json", is_flag=True, help="One JSON object a file.")
@click.argument("audio", nargs=-1, required=True, type=click.Path(path_type=Path))
def decode(
    grammar: Path,
    model: Path | None,
    vosk: Path | None,
    decides: Decides | None,
    as_json: bool,
    audio: tuple[Path, ...],
) -> None:
    """Decode sound files against any grammar.

    Example: voicelog decode --grammar orders.jsgf --json *.flac
    """
    from voicelog.decoding import decode_file
    from voicelog.hearing.engines import Engines, make_recogniser
    from voicelog.phrases.compiling import compile_grammar
    from voicelog.phrases.jsgf import load_jsgf

    graph = compile_grammar(load_jsgf(grammar))
    recogniser = make_recogniser(Engines(model, vosk, decides))
    failed = 0
    for path in audio:
        try:
            result = decode_file(path, graph, recogniser)
        except VoicelogError as error:
            say(str(error))
            failed = 2
            continue
        if as_json:
            click.echo(json.dumps(result))
        else:
            click.echo(f"{path}: {result['text'] or 'refused'}  (posterior {result['posterior']})")
    sys.exit(failed)


# sheets -------------------------------------------------------------------------------------


@main.group()
def sheet() -> None:
    """Check a sheet, and see what can be said.

    The grammar can be written as JSGF.
    """


_FOR_UNIT = click.option(
    "--unit", "unit_path", type=click.Path(path_type=Path), help="The unit that the sheet is written out for."
)


def _unit(path: Path | None) -> Unit | None:
    from voicelog.sheet import load_unit

    return None if path is None else load_unit(path)


@sheet.command("check")
@_VOSK
@_FOR_UNIT
@click.option("--sounds", is_flag=True, help="Also what sounds alike.")
@click.argument("file", type=click.Path(path_type=Path))
def sheet_check(file: Path, vosk: Path | None, unit_path: Path | None, sounds: bool) -> None:
    """Say what is wrong with a sheet, by line, and what to write. Exit code 1 if it cannot be used.

    With a Vosk model, also the words that it does not know. With a unit, also what the sheet asks of
    its parts, and the unit's own limits. With --sounds, also what sounds alike; exit code 1 if a
    defect sounds like a pass, or left like right.
    """
    from voicelog.sheet import check_sheet, load_sheet, sheet_needs_unit

    unit = _unit(unit_path)
    problems = check_sheet(file, unit=unit)
    for problem in problems:
        click.echo(str(problem), err=problem.severity == "error")
    if any(p.severity == "error" for p in problems):
        sys.exit(1)
    if unit is None and sheet_needs_unit(file):
        click.echo(f"{file}: usable with a unit that has its parts; check yours with --unit FILE")
        return
    if vosk is not None:
        from voicelog.hearing.vosk.check import check_words

        for problem in check_words(file, vosk, unit):
            click.echo(str(problem))
    loaded = load_sheet(file, unit=unit)
    readings = sum(len(p.readings) for p in loaded.points.values())
    click.echo(f"{file}: {len(loaded.stops)} stops, {len(loaded.points)} points, {readings} readings; usable")
    if sounds:
        from voicelog.sounds.report import sounds_report

        lines, grave = sounds_report(file, unit=unit)
        for line in lines:
            click.echo(line)
        if grave:
            sys.exit(1)


@sheet.command("phrases")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--stop", "stop_id", help="Only this stop.")
@_FOR_UNIT
def sheet_phrases(file: Path, stop_id: str | None, unit_path: Path | None) -> None:
    """Show what can be said, stop by stop."""
    from voicelog.phrases.listing import phrase_lines
    from voicelog.sheet import load_sheet

    for line in phrase_lines(load_sheet(file, unit=_unit(unit_path)), stop_id):
        click.echo(line)


@sheet.command("jsgf")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--stop", "stop_id", help="Where the operator stands; by default the first stop.")
@_FOR_UNIT
def sheet_jsgf(file: Path, stop_id: str | None, unit_path: Path | None) -> None:
    """Write the grammar of what can be said as JSGF."""
    from voicelog.phrases.jsgf import write_jsgf
    from voicelog.phrases.listing import chosen_stop
    from voicelog.phrases.sheet_grammar import sheet_grammar
    from voicelog.sheet import load_sheet

    loaded = load_sheet(file, unit=_unit(unit_path))
    click.echo(write_jsgf(sheet_grammar(loaded, chosen_stop(loaded, stop_id).id)), nl=False)


@main.command()
@click.option(
    "--unit", "unit_path", type=click.Path(path_type=Path), help="Also those of this unit's sheets."
)
@click.option("--no-source", "no_source", is_flag=True, help="Only those with no published source.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a limit.")
def limits(unit_path: Path | None, no_source: bool, as_json: bool) -> None:
    """Print every limit with its source.

    Its value too, and whether the source was seen or is from memory.

    The published tables and what the shipped sheets have beside them; with a unit, what its own
    sheets judge by, and its own limits.
    """
    from voicelog.loading import sheets_of
    from voicelog.reports import limits_table
    from voicelog.sheet import load_limits

    loaded = sheets_of(_unit(unit_path))
    lines = [*limits_table.table_lines(load_limits(), loaded[0].lexicon)]
    lines += [line for found in loaded for line in limits_table.sheet_lines(found)]
    for line in limits_table.without_source(lines) if no_source else lines:
        if as_json:
            click.echo(json.dumps(limits_table.as_json(line), ensure_ascii=False))
        else:
            for text in limits_table.as_text(line):
                click.echo(text)


if __name__ == "__main__":
    main()
