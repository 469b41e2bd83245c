"""``voicelog transcribe``: the words of remarks that were not made during the walk."""

from __future__ import annotations

from pathlib import Path

import click

from voicelog.clock import now
from voicelog.errors import WalkError
from voicelog.paths import data_folder


@click.command()
@click.argument("walk_id")
@click.option("--model", type=click.Path(path_type=Path), help="Folder of another English Whisper model.")
@click.option("--sheet", "sheet_path", type=click.Path(path_type=Path), help="The sheet it was made with.")
@click.pass_obj
def transcribe(data: Path | None, walk_id: str, model: Path | None, sheet_path: Path | None) -> None:
    """Make the transcripts that a walk still lacks.

    Those of remarks that have none yet. The sound stays the original.
    """
    from voicelog.dictation import transcript
    from voicelog.hearing.engines import Engines, make_recogniser
    from voicelog.loading import load_walk
    from voicelog.records.store import Store
    from voicelog.screens.outside_text import visible
    from voicelog.walk.remarks import WITHOUT_WORDS, owed

    with Store.open(data_folder(data), clock=now, make=False) as store, store.lock(walk_id):
        state, sheet = load_walk(store, walk_id, sheet_path)
        remarks = owed(state.remarks)
        if remarks and state.signatures:
            raise WalkError(
                f"{walk_id} is signed, and a transcript would come after the signature",
                remedy="play the sound in the review: it is the original",
            )
        if not remarks:
            click.echo(f"{walk_id}: every remark has its transcript")
            return
        recogniser = make_recogniser(Engines(model))
        for remark in remarks:
            words = transcript(store, recogniser, sheet.lexicon, remark)
            store.append(walk_id, (words,))
            click.echo(visible(f"{remark.remark_id}: {words.text or WITHOUT_WORDS}"))
