"""A work order: one defect as the shop takes it in hand, as text and as one HTML page with its sound."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from voicelog.defects.book import Defect
from voicelog.defects.events import RepairCertified
from voicelog.defects.wording import (
    age,
    certificate,
    happening,
    show_minutes,
    show_part,
    show_past,
    stands,
    title,
)
from voicelog.errors import RecordError
from voicelog.records.history import PointHistory
from voicelog.reports.html import render, sound_data
from voicelog.reports.parts import Fact
from voicelog.reports.plain import all_plain
from voicelog.reports.write import write_all
from voicelog.walk.wording import show_time

WIDTH = 78
CAUTION = (
    "Chock the wheels, take the key, engage the cab prop, and let pressure and heat go before work. "
    "The maker's manual, local rules and the judgement of qualified people come first. voicelog "
    "records and compares; it does not declare a vehicle safe."
)
PAST = 12


@dataclass(frozen=True, slots=True)
class Heard:
    """A sound of the order: what it is, and the FLAC file's SHA-256."""

    label: str
    clip: str


@dataclass(frozen=True, slots=True)
class WorkOrder:
    """Everything a work order shows, as plain text."""

    title: str
    facts: tuple[Fact, ...]
    caution: str
    notes: tuple[str, ...]
    """What the operators dictated about the point."""
    sounds: tuple[Heard, ...]
    past: tuple[str, ...]
    """Earlier readings, or what else was said of the point."""
    history: tuple[str, ...]
    work: tuple[Fact, ...]
    """What was done so far; empty lines to write on where nothing was."""


def work_order(defect: Defect, history: PointHistory, now: datetime) -> WorkOrder:
    """Return the contents of a defect's work order, as it stands ``now``."""
    worst = defect.worst
    matter = worst.matter
    of_reading = matter.removeprefix("reading:") if matter.startswith("reading:") else ""
    past = history.readings(of_reading) if of_reading else history.entries
    walks = defect.walks
    notes = [r for r in history.remarks if r.walk in walks]
    sounds = [
        Heard(f"{h.said.what}, said {h.said.said_at:%Y-%m-%d %H:%M} by {h.said.by}", h.said.clip)
        for h in defect.hearings
        if h.standing and h.said.clip
    ]
    sounds += [Heard(f"note of {n.at:%Y-%m-%d %H:%M}", clip) for n in notes for clip in n.clips]
    order = WorkOrder(
        title=f"Work order {defect.defect_id}: {title(defect)}",
        facts=(
            Fact("Unit", f"{worst.unit_name} ({worst.unit_id})"),
            Fact("Point", worst.point),
            Fact("Defect", f"{worst.what} ({worst.matter_name})"),
            Fact("Class", worst.class_name or "none"),
            Fact("State", stands(defect)),
            Fact("First heard", f"{defect.heard_at:%Y-%m-%d %H:%M}, {age(defect.heard_at, now)}"),
            Fact("Heard by", ", ".join(dict.fromkeys(h.said.by for h in defect.hearings if h.standing))),
            Fact("Came back after", defect.first.came_back_from or "not seen before"),
            Fact("Printed", f"{now:%Y-%m-%d %H:%M %z}"),
        ),
        caution=CAUTION,
        notes=tuple(f"{n.at:%Y-%m-%d}: {n.words}" for n in notes),
        sounds=tuple(sounds),
        past=tuple(f"{e.at:%Y-%m-%d} {show_past(e.claim)}" for e in past if e.status == "standing")[-PAST:],
        history=tuple(f"{show_time(one.at)} {happening(one)}" for one in defect.happenings),
        work=_work(defect),
    )
    return all_plain(order)


def _work(defect: Defect) -> tuple[Fact, ...]:
    facts = []
    for at, work in defect.work:
        facts.append(Fact(f"{at:%Y-%m-%d} {work.by}", work.findings))
        parts = getattr(work, "parts", ())
        if parts:
            facts.append(Fact("Parts", "; ".join(show_part(p) for p in parts)))
        if work.minutes:
            facts.append(Fact("Time", show_minutes(work.minutes)))
    for at, event in defect.history:
        if isinstance(event, RepairCertified):
            facts.append(Fact("Certificate", certificate(at, event)))
    return tuple(facts)


def order_text(order: WorkOrder) -> str:
    """Return the order as text, at most 78 columns wide."""
    lines = [*_wrap(order.title), "=" * min(len(order.title), WIDTH), ""]
    for fact in order.facts:
        lines += _wrap(f"{fact.name + ':':<17}{fact.value}", " " * 17)
    lines += ["", *_wrap(f"CAUTION. {order.caution}")]
    for heading, texts in (
        ("What the operators noted", order.notes),
        ("Said of this point before", order.past),
        ("History", order.history),
    ):
        lines += ["", heading, "-" * len(heading)]
        for text in texts or ("none",):
            lines += _wrap(f"- {text}", "  ")
    lines += ["", "Work", "----"]
    for fact in order.work:
        lines += _wrap(f"{fact.name}: {fact.value}", "  ")
    for blank in ("Findings", "Parts", "Time", "Repaired / no repair needed", "Certified by, date"):
        lines += ["", f"{blank}:".ljust(30) + "_" * (WIDTH - 30)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _wrap(text: str, hang: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=hang, break_on_hyphens=False)


def order_html(order: WorkOrder, clips: Callable[[str], bytes]) -> str:
    """Return the order as one page that needs nothing else; ``clips`` gives the FLAC of a SHA-256."""
    sounds = []
    for heard in order.sounds:
        try:
            sounds.append((heard, sound_data(clips(heard.clip)), ""))
        except RecordError as error:
            sounds.append((heard, "", error.what))
    return render("work_order.html.j2", order=order, sounds=sounds)


def write_order(order: WorkOrder, defect_id: str, folder: Path, clips: Callable[[str], bytes]) -> list[Path]:
    """Write both forms to ``folder``; return their paths. RecordError when they cannot be written."""
    page, text = folder / f"order-{defect_id}.html", folder / f"order-{defect_id}.txt"
    write_all(folder, {page: order_html(order, clips), text: order_text(order)})
    return [page, text]
