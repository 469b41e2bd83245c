"""Where voicelog's own files and the user's data are."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import platformdirs

from voicelog.errors import VoicelogError


def shipped(*parts: str) -> Path:
    """Return a file or folder that comes with voicelog, such as ``shipped("grammars", "lexicon.toml")``.

    Installed, they lie in the package; in a checkout, beside it.
    """
    package = Path(str(files("voicelog")))
    for root in (package / "shipped", package.parent):
        found = root.joinpath(*parts)
        if found.exists():
            return found
    raise VoicelogError(
        f"{'/'.join(parts)} is missing from this installation",
        where=str(package),
        remedy="install voicelog again",
    )


def data_folder(chosen: Path | None) -> Path:
    """Return the folder that holds the records: the one chosen, or the user's own."""
    return chosen or Path(platformdirs.user_data_dir("voicelog", appauthor=False))
