"""``voicelog sheet`` and ``voicelog limits``: what is inspected, what can be said, what it is judged by."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from voicelog.commands.engine_options import vosk_option
from voicelog.commands.terminal import harmless

if TYPE_CHECKING:
    from voicelog.sheet.model import Unit


@click.group()
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
@vosk_option
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
        click.echo(harmless(problem), err=problem.severity == "error")
    if any(p.severity == "error" for p in problems):
        sys.exit(1)
    if unit is None and sheet_needs_unit(file):
        click.echo(harmless(f"{file}: usable with a unit that has its parts; check yours with --unit FILE"))
        return
    if vosk is not None:
        from voicelog.hearing.vosk.check import check_words

        for problem in check_words(file, vosk, unit):
            click.echo(harmless(problem))
    loaded = load_sheet(file, unit=unit)
    readings = sum(len(p.readings) for p in loaded.points.values())
    told = f"{file}: {len(loaded.stops)} stops, {len(loaded.points)} points, {readings} readings; usable"
    click.echo(harmless(told))
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


@click.command()
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
