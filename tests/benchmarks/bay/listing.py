"""How a case is listed so that a person can judge it, and its sound kept to be listened to."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks.bay.said import Fact, Logged, Row
from tests.benchmarks.bay.sounds import sound_of, write_sound


def matter(fact: Fact) -> str:
    """Return what a fact says of its point."""
    return fact.condition_id or f"{fact.reading_id} {fact.value}"


def show(fact: Fact) -> str:
    """Return a fact in one line: ``lift_cylinder_left dry, sound``."""
    return f"{fact.point_id} {matter(fact)}, {'sound' if fact.sound else 'defect'}"


def _show_entry(entry: Logged) -> str:
    posterior = entry.posterior.get("claim", 0.0)
    asked = f", asked: {entry.doubts[0]} ({entry.reason})" if entry.doubts else ""
    bare = "" if entry.by_name else ", no name heard"
    return f"{show(entry.fact)} {posterior:.3f}{bare}{asked}"


def case_line(row: Row) -> str:
    """Return all that is needed to judge a case, on a few lines."""
    case, said = row.case, row.case.said
    hypotheses = ", ".join(f"{text!r} {p:.3f}" for text, p in row.hypotheses[:3])
    near = f"  ({said.apart} phonemes from {said.near!r})" if said.near else ""
    before = f"  after {said.before}" if said.before else ""
    logged = "; ".join(_show_entry(entry) for entry in row.logged) or "nothing"
    return "\n".join(
        (
            f"- {case.id}  seed {case.seed}  at {said.stop_id}{before}  [{said.kind}]",
            f"    said    {said.text!r}{near}",
            f"    true    {'; '.join(show(fact) for fact in said.facts) or 'nothing'}",
            f"    logged  {logged}" + (f"  {', '.join(row.acts)}" if row.acts else ""),
            f"    heard   {hypotheses}; outside {row.outside:.3f}; free {row.free_text!r}",
        )
    )


def keep_sounds(rows: Sequence[Row], folder: Path, cache: Path, noise_file: Path | None = None) -> None:
    """Write the sound of rows to be listened to."""
    for row in rows:
        name = row.case.id.replace("/", "_").replace(" ", "-")
        write_sound(sound_of(row.case, cache, noise_file), folder / f"{name}.flac")
