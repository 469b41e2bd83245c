"""``voicelog decode``: sound files against any grammar."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from voicelog.commands.engine_options import decides_option, vosk_option
from voicelog.commands.terminal import say
from voicelog.errors import VoicelogError

if TYPE_CHECKING:
    from voicelog.hearing.engines import Decides


@click.command()
@click.option("--grammar", type=click.Path(path_type=Path), required=True, help="A grammar in JSGF.")
@click.option("--model", type=click.Path(path_type=Path), help="Folder of another English Whisper model.")
@vosk_option
@decides_option
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
