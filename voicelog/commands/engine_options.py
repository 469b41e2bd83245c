"""Which engine listens, as options that commands share."""

from __future__ import annotations

from pathlib import Path

import click

vosk_option = click.option("--vosk", type=click.Path(path_type=Path), help="Folder of a Vosk model.")
decides_option = click.option(
    "--decides",
    type=click.Choice(["whisper", "vosk", "both"]),
    help="Whose answer counts; with a Vosk model both, unless you choose.",
)
