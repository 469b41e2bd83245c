"""The editions that walks were made with: sheets, lexicons, limits and units, named by their SHA-256.

Also the local policies that decisions were held against: a signature names its policy's SHA-256.

``editions/abcd....toml`` in the data folder. A walk can then be reviewed as it was made, whatever
became of the files since. What is here is read only after its bytes were compared with its name.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from voicelog.errors import RecordError
from voicelog.records.clip_files import make_folder, write_file
from voicelog.records.clips import sha256_hex
from voicelog.sheet.policy import Policy

FOLDER = "editions"


def keep(folder: Path, sources: Iterable[tuple[str, Path]]) -> None:
    """Keep the files that a walk is begun with: (SHA-256, path) each. Raises RecordError and OSError."""
    make_folder((folder / FOLDER).absolute())
    for sha256, path in sources:
        data = path.read_bytes()
        if sha256_hex(data) != sha256:
            raise RecordError(
                "this file was changed since it was read",
                where=str(path),
                remedy="start the walk again",
            )
        write_file(place(folder, sha256), data)


def keep_policy(folder: Path, policy: Policy) -> None:
    """Keep the local policy that a decision is held against. Raises RecordError and OSError."""
    if not policy.sha256:
        return
    make_folder((folder / FOLDER).absolute())
    data = Path(policy.path).read_bytes()
    if sha256_hex(data) != policy.sha256:
        raise RecordError(
            "the local policy was changed since it was read",
            where=policy.path,
            remedy="look at what it asks now, then sign",
        )
    write_file(place(folder, policy.sha256), data)


def kept(folder: Path, sha256: str) -> Path | None:
    """Return where an edition is kept; None where it is not, or is not what its name says."""
    path = place(folder, sha256)
    if not path.is_file() or sha256_hex(path.read_bytes()) != sha256:
        return None
    return path


def copy(folder: Path, target: Path) -> None:
    """Copy every edition to another data folder. Raises OSError."""
    here = sorted((folder / FOLDER).glob("*.toml"))
    if here:
        make_folder((target / FOLDER).absolute())
    for path in here:
        write_file(target / FOLDER / path.name, path.read_bytes())


def place(folder: Path, sha256: str) -> Path:
    """Return where an edition is kept, whether it is there or not."""
    return folder / FOLDER / f"{sha256}.toml"
