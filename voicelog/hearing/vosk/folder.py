"""Finding a Vosk model: that the folder holds one whose grammar can be set, and what identifies it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from voicelog.errors import ModelError

_NOT_A_NAME = ("model", "")
"""Folder names that tell nothing; the folder around it is named then."""


@dataclass(frozen=True, slots=True)
class VoskFolder:
    """A model folder that takes a grammar at run time."""

    path: Path
    name: str
    """The folder's name, as the model is published."""
    language_model: Path
    """The ``Gr.fst``: the model's own language model, and in it the words that it knows."""

    def sha256(self) -> str:
        """Return the model's identity: the SHA-256 over its files' paths and SHA-256, sorted by path.

        What ``sha256sum`` would print of them, in that order. Hidden files are left out. Reads every
        file, so a model of a gigabyte takes seconds. Raises :class:`ModelError`.
        """
        total = hashlib.sha256()
        files = (p for p in self.path.rglob("*") if p.is_file() and not p.name.startswith("."))
        for relative, path in sorted((p.relative_to(self.path).as_posix(), p) for p in files):
            try:
                with path.open("rb") as file:
                    digest = hashlib.file_digest(file, "sha256").hexdigest()
            except OSError as error:
                raise ModelError(
                    f"the model file cannot be read ({error.strerror})",
                    where=str(path),
                    remedy="check the file's permissions and the disk",
                ) from error
            total.update(f"{digest}  {relative}\n".encode())
        return total.hexdigest()


def find_vosk(folder: Path) -> VoskFolder:
    """Return the model in ``folder``.

    Raises :class:`ModelError` when there is none, or one whose graph is fixed, which would hear
    any words but cannot be told which can be said.
    """
    if not folder.is_dir():
        raise ModelError(
            "there is no Vosk model folder here",
            where=str(folder),
            remedy="unpack the model and give its folder; models_readme says which to get",
        )
    # The second place is that of models made before 2020.
    for acoustic, graph in (("am/final.mdl", folder / "graph"), ("final.mdl", folder)):
        if not (folder / acoustic).is_file():
            continue
        if (graph / "Gr.fst").is_file() and (graph / "HCLr.fst").is_file():
            return VoskFolder(folder, _name(folder), graph / "Gr.fst")
        if (graph / "HCLG.fst").is_file():
            raise ModelError(
                "this model's graph is fixed: it cannot be told what can be said",
                where=str(folder),
                remedy='use one with a dynamic graph: its name has "small" or "lgraph" in it',
            )
        raise ModelError(
            "the model folder has no graph/Gr.fst and graph/HCLr.fst",
            where=str(folder),
            remedy="unpack the whole model again",
        )
    raise ModelError(
        "this folder holds no Vosk model (there is no am/final.mdl)",
        where=str(folder),
        remedy="give the folder that am, conf and graph are in",
    )


def _name(folder: Path) -> str:
    whole = folder.resolve()
    return whole.parent.name if whole.name in _NOT_A_NAME else whole.name
