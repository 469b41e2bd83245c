"""The closing table of a recorded walk, as plain text."""

from __future__ import annotations

from voicelog.demo.scoring import LineScore, Score

_HEAD = ("", "lines", "right", "asked", "refused", "wrong")


def closing_table(score: Score) -> str:
    """Return what came of the walk: counts, the number that must be 0, and each line not right."""
    ours, rest = score.count(for_us=True), score.count(for_us=False)
    rows = [
        _HEAD,
        ("said to voicelog", ours.total(), ours["right"], ours["asked"], ours["refused"], ours["wrong"]),
        ("not for voicelog", rest.total(), rest["right: left alone"], rest["asked"], "-", rest["wrong"]),
    ]
    lines = ["".join([f"{row[0]:<18}", *(f"{cell:>9}" for cell in row[1:])]) for row in rows]
    lines += [
        "",
        f"Defects spoken: {score.defects_spoken}. "
        f"Logged as sound without a doubt: {score.defects_passed} (must be 0).",
    ]
    for passed in score.passed_defects:
        lines.append(f"  line {passed.line.number}: said {passed.spoken}, but {passed.logged}")
    if score.strays:
        lines.append(f"Logged where nobody spoke: {len(score.strays)}: {'; '.join(score.strays)}")
    if score.not_right:
        lines += ["", "Lines to look at"]
        for scored in score.not_right:
            lines += _shown(scored)
    return "\n".join(lines) + "\n"


def _shown(scored: LineScore) -> list[str]:
    line = scored.line
    clock = f"{int(line.start_s) // 60}:{int(line.start_s) % 60:02d}"
    return [
        f"{line.number:>4}  {clock:>5}  {scored.verdict:<8}  said      {line.say}",
        f"{'':23}expected  {'; '.join(o.text for o in line.expected) or 'nothing'}",
        f"{'':23}heard     {'; '.join(scored.heard) or 'nothing'}",
        f"{'':23}logged    {'; '.join(scored.logged) or 'nothing'}",
    ]
