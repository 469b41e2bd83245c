"""How far apart two phrases are to the ear: phonemes gained, lost or changed, by espeak-ng.

Stress and word boundaries do not count. It is one program's pronunciation of American English,
and only ranks phrases: 0 cannot be told apart by anybody, 1 hardly in noise.
"""

from __future__ import annotations

import subprocess
from collections.abc import Sequence

from rapidfuzz.distance import Levenshtein

from tests.benchmarks.bay.said import Said
from voicelog.errors import VoicelogError

_STRESS = str.maketrans("", "", "ˈˌ")


def phonemes(texts: Sequence[str]) -> list[tuple[str, ...]]:
    """Return the phonemes of each text. VoicelogError where espeak-ng is missing or fails."""
    command = ["espeak-ng", "-q", "-v", "en-us", "--ipa", "--sep=_"]
    try:
        # An empty line between two texts keeps their lines apart.
        result = subprocess.run(
            command, input="\n\n".join(texts) + "\n", capture_output=True, text=True, timeout=300, check=True
        )
    except (OSError, subprocess.SubprocessError) as error:
        raise VoicelogError(
            f"espeak-ng cannot tell how phrases are pronounced ({error})", remedy="apt install espeak-ng"
        ) from error
    lines = [line for line in result.stdout.split("\n") if line.strip()]
    if len(lines) != len(texts):
        raise VoicelogError(f"espeak-ng gave {len(lines)} pronunciations for {len(texts)} phrases")
    return [tuple(line.translate(_STRESS).replace("_", " ").split()) for line in lines]


def with_distances(said: Sequence[Said]) -> list[Said]:
    """Return near misses with their distance from the phrase each was made from."""
    spoken = phonemes([s.text for s in said])
    meant = phonemes([s.near for s in said])
    return [
        s.model_copy(update={"apart": Levenshtein.distance(a, b)})
        for s, a, b in zip(said, spoken, meant, strict=True)
    ]
