"""A small made-up run, for tests."""

from __future__ import annotations

from tests.benchmarks.hearing.results import Answer, Claim, Identity, Results, Row, Session, Settings, Start

LABELS = {"a": {"size": "large"}, "b": {"size": "small", "roast": "dark roast"}}
SETTINGS = Settings(
    data="made/up",
    fingerprint="0" * 64,
    utterances=("a", "b"),
    ratios=(12.0, 6.0),
    beyond=(0.0,),
    clean=True,
    systems=("voicelog", "whisper"),
    seed=1,
    threads=2,
    jobs=1,
    prompt="auto",
    cutoff=60.0,
)


def made_up() -> Results:
    """Return a run: ours hears all but b at 0 dB, which it refuses; the other hears no roast."""
    rows = []
    for ratio in SETTINGS.conditions:
        for stem in SETTINGS.utterances:
            refused = "not a phrase" if (stem, ratio) == ("b", 0.0) else ""
            ours = Answer(
                slots=None if refused else LABELS[stem],
                text="words",
                refused=refused,
                posterior=0.4 if refused else 0.9,
                best_slots=LABELS[stem],
                claims=tuple(Claim(slot=s, value=v, posterior=0.95) for s, v in LABELS[stem].items()),
                decode_s=0.5 if stem == "a" else 1.5,
            )
            other = Answer(slots={"size": LABELS[stem]["size"]}, text="words", decode_s=1.0, match_s=0.002)
            for system, answer in (("voicelog", ours), ("whisper", other)):
                rows.append(
                    Row(
                        system=system,
                        utterance=stem,
                        ratio_db=ratio,
                        audio_s=3.0 if stem == "a" else 7.0,
                        answer=answer,
                    )
                )
    sessions = tuple(session(system, peak) for system, peak in (("voicelog", 400.0), ("whisper", 200.0)))
    return Results(settings=SETTINGS, machine="none", labels=LABELS, sessions=sessions, rows=tuple(rows))


def session(system: str, peak: float) -> Session:
    """Return a session of a system."""
    identity = Identity(system=system, title=system, version="1")
    return Session(
        identity=identity,
        starts=tuple(Start(ready_s=s, first_answer_s=s + 1) for s in (1.0, 2.0, 9.0)),
        peak_mb=peak,
        comparable=True,
    )
