"""Loading Vosk's library and a model: the only place that imports it, and then only when asked."""

from __future__ import annotations

import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import ModuleType
from typing import Any

from voicelog.errors import ModelError
from voicelog.hearing.vosk.folder import VoskFolder

_OPTIONS = {
    # Published models keep alternatives within 2 nats of the best: what is 2 nats behind may still
    # be one time in ten what was said, and would not be seen at all.
    "model.conf": {"--beam": "11.0", "--lattice-beam": "6.0"},
    # Dither is noise from a random generator, so that the same sound would not give the same
    # decoding; the recogniser adds the same noise each time instead.
    "mfcc.conf": {"--dither": "0"},
}
"""Options of a model's files that are changed, by the name of the file."""


def vosk_library() -> ModuleType:
    """Return the library, silenced. Raises :class:`ModelError` when it cannot be loaded."""
    try:
        import vosk
    except ImportError as error:
        raise ModelError(
            f"Vosk is not installed ({error})", where="vosk", remedy="install it with: pip install vosk"
        ) from error
    except (OSError, TypeError) as error:  # a system library is missing; no build for this system
        raise ModelError(
            f"Vosk cannot be loaded ({error})",
            where="vosk",
            remedy="install what it names, such as: apt install libatomic1; or listen without --vosk",
        ) from error
    vosk.SetLogLevel(-1)
    library: ModuleType = vosk
    return library


def load_model(vosk: ModuleType, found: VoskFolder) -> tuple[Any, str]:
    """Return the loaded model and its SHA-256 (made while it loads). Raises :class:`ModelError`."""
    with ThreadPoolExecutor(1) as beside, tempfile.TemporaryDirectory(prefix="voicelog-vosk-") as folder:
        identity = beside.submit(found.sha256)
        try:
            model = vosk.Model(str(_as_used(found.path, Path(folder))))
        except Exception as error:  # the library raises nothing more precise
            raise ModelError(
                f"the model cannot be loaded ({error})",
                where=str(found.path),
                remedy="unpack the whole model again; models_readme says which work",
            ) from error
        return model, identity.result()


def _as_used(model: Path, folder: Path) -> Path:
    """Return a stand-in for the model's folder: the same files, save for :data:`_OPTIONS`.

    Vosk reads these from the folder alone. Raises :class:`ModelError` where links cannot be made.
    """
    try:
        _link_all(model, folder, leave_out="conf")
        if (model / "conf").is_dir():
            (folder / "conf").mkdir()
            _link_all(model / "conf", folder / "conf")
        for place in (folder, folder / "conf"):
            for name, options in _OPTIONS.items():
                if (place / name).is_file():
                    _rewrite(place / name, options)
    except OSError as error:
        raise ModelError(
            f"the model's options cannot be set ({error})",
            where=str(model),
            remedy="give a folder for temporary files that can hold links: set TMPDIR",
        ) from error
    return folder


def _link_all(source: Path, target: Path, leave_out: str = "") -> None:
    for entry in source.iterdir():
        if entry.name != leave_out:
            (target / entry.name).symlink_to(entry.resolve())


def _rewrite(path: Path, options: dict[str, str]) -> None:
    """Put a file in the place of a link: the same options, with some of them changed."""
    written = path.read_text(encoding="utf-8").splitlines()
    kept = [line for line in written if line.split("=")[0].strip() not in options]
    path.unlink()
    path.write_text("\n".join([*kept, *(f"{k}={v}" for k, v in options.items()), ""]), encoding="utf-8")
