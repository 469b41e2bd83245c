"""Loading Vosk's library and a model: the only place that imports it, and then only when asked."""

from __future__ import annotations

import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import ModuleType
from typing import Any

from voicelog.errors import ModelError
from voicelog.hearing.vosk.folder import VoskFolder

BEAM, LATTICE_BEAM = 11.0, 6.0
"""Nats. Published models keep alternatives within 2 nats of the best: what is 2 nats behind may
still be one time in ten what was said, and would not be seen at all."""


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
            model = vosk.Model(str(_with_wide_beam(found.path, Path(folder))))
        except Exception as error:  # the library raises nothing more precise
            raise ModelError(
                f"the model cannot be loaded ({error})",
                where=str(found.path),
                remedy="unpack the whole model again; models_readme says which work",
            ) from error
        return model, identity.result()


def _with_wide_beam(model: Path, folder: Path) -> Path:
    """Return a stand-in for the model's folder: the same files, save for the width of the search.

    Vosk reads the width from the folder alone. Where links cannot be made, or the model has no
    such file, the model's own folder is returned.
    """
    options = model / "conf" / "model.conf"
    if not options.is_file():
        return model
    try:
        for entry in model.iterdir():
            if entry.name != "conf":
                (folder / entry.name).symlink_to(entry.resolve())
        (folder / "conf").mkdir()
        for entry in (model / "conf").iterdir():
            if entry != options:
                (folder / "conf" / entry.name).symlink_to(entry.resolve())
        written = options.read_text(encoding="utf-8").splitlines()
        kept = [line for line in written if not line.startswith(("--beam=", "--lattice-beam="))]
        wide = [*kept, f"--beam={BEAM}", f"--lattice-beam={LATTICE_BEAM}", ""]
        (folder / "conf" / "model.conf").write_text("\n".join(wide), encoding="utf-8")
    except OSError:
        return model
    return folder
