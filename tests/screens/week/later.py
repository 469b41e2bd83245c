"""Tuesday to Sunday: the shop, the next operators, repairs, closing, and the reports."""

from __future__ import annotations

import csv
import json
import shutil

from voicelog.screens.palette import RULE
from voicelog.walk.events import DefectAcknowledged, DefectsCarried, WalkHandedOver

from . import shopping
from .monday import proof
from .reviewing import choose as choose_item
from .reviewing import in_hand, open_review, sign
from .station import MECHANIC, OFFICER, OPERATOR, PINS, SECOND_OPERATOR, UNIT, UNIT_ID, WRONG_PIN, Station
from .walking import SHEET, affirm_cautions, begin, finish, go, say

HARNESS = ("left wiring harness", "bare wire")
CYLINDER = ("left lift cylinder", "dripping")
GEAR = ("steering gear", "weeping")
HOSES = ("steering hoses", "chafed")
SLACK = ("left slack adjuster", "travel 1 1/8 in")
BELT = ("alternator belt", "glazed")


def state_of(station: Station, what: tuple[str, str]) -> str:
    """Return how the defect of a point stands on record."""
    return station.defect_of(what[0]).state


def choose(station: Station, what: tuple[str, str]) -> str:
    """Choose the defect of a point in the queue; return its id."""
    found = station.defect_of(what[0])
    shopping.choose(station, found.defect_id, f"{found.point} {found.what}")
    return found.defect_id


def tuesday_shop(station: Station) -> None:
    """The officer goes through the queue: confirms, defers, sends to the shop."""
    station.day(1)
    with station.step("the queue is shown, worst class first"):
        shopping.open_shop(station)
        station.see("6 open on 1 unit", " ".join(HARNESS))
        station.shot("shop")
        ranks = [d.rank for d in station.queue()]
        station.expect(ranks == sorted(ranks, reverse=True), "the queue by class")
    with station.step("help tells every key"):
        station.terminal.press("?")
        station.see("Any key closes this page", "work order")
        station.shot("shop-help")
        station.terminal.press("Escape")
        station.terminal.see_no("Any key closes this page")
    with station.step("the defect and its dictated note are played, and the note is readable"):
        choose(station, HARNESS)
        for key in ("Space", "n"):
            station.terminal.press(key)
            station.terminal.wait(lambda s: s.has("Played.") or s.has("No sound output here"), "the sound")
        for _ in range(3):
            station.terminal.press("PageDown")
        station.see("tape will not do")
        station.shot("shop-note")
    with station.step("the officer confirms it; a wrong PIN does nothing"):
        shopping.act(station, "c", "Confirm, as officer", OFFICER, "seen it", pin=WRONG_PIN)
        shopping.wrong_pin(station)
        station.expect(state_of(station, HARNESS) == "heard", "nothing done with a wrong PIN")
        shopping.act(station, "c", "Confirm, as officer", OFFICER, "seen it")
        shopping.done(station, "confirmed by M. Ruiz")
        station.expect(state_of(station, HARNESS) == "confirmed", "the confirmation")
    with station.step("a mechanic's act in the officer's name is refused"):
        shopping.act(station, "r", "Repaired, as mechanic", OFFICER, "new harness", "", "10")
        station.see("may not", "for the role mechanic")
        station.shot("shop-refused")
        station.terminal.press("Escape")
        station.terminal.see_no("Escape leaves")
    with station.step("another is deferred to Friday, with the reason"):
        choose(station, HOSES)
        station.terminal.press("d")
        station.see("Defer, as officer", "year-month-day")
        station.shot("shop-defer")
        station.terminal.press("Escape")
        station.terminal.see_no("Escape leaves")
        shopping.act(station, "d", "Defer, as officer", OFFICER, station.date(4), "clip on order")
        shopping.done(station, f"deferred until {station.date(4)}")
        station.expect(state_of(station, HOSES) == "deferred", "the deferral")
    for what, reason in ((HARNESS, "isolate the batteries first"), (SLACK, ""), (GEAR, ""), (BELT, "")):
        with station.step(f"{' '.join(what)} is sent to the shop"):
            choose(station, what)
            shopping.act(station, "s", "Send to the shop, as officer", OFFICER, reason)
            shopping.done(station, "sent to the shop by M. Ruiz")
            station.expect(state_of(station, what) == "in the shop", "sent to the shop")
    station.shot("shop-sent")
    shopping.leave(station)


def acknowledge(station: Station, *first: str) -> int:
    """Acknowledge what is carried over, one by one, with the key; return how many there were."""
    walk = station.last_walk()
    carried = [e for e in station.events(walk) if isinstance(e, DefectsCarried)]
    before, number, read_out = acknowledgements(station), len(carried[-1].defects), ""
    for place in range(1, number + 1):
        read_out = f"CAUTION defect 1 of {number}:" if place == 1 else f"CAUTION {place}:"
        station.see(read_out)
        if place <= len(first):
            station.see(first[place - 1])
        if place in (1, number):
            station.shot(f"walk-carried-{place}")
        station.terminal.press("a")
    station.terminal.see_no(read_out)
    station.expect(acknowledgements(station) == before + number, f"{number} acknowledgements")
    return number


def acknowledgements(station: Station) -> int:
    """Return how many there are in the latest walk."""
    return sum(isinstance(e, DefectAcknowledged) for e in station.events(station.last_walk()))


def begin_gated(station: Station, operator: str) -> None:
    """Begin a walk and affirm the sheet's cautions and those of its first stop."""
    begin(station, operator)
    affirm_cautions(station, len(SHEET.gate) + len(SHEET.stops[0].gate) - 1)
    station.terminal.press("a")


def wednesday_walk(station: Station) -> None:
    """The next operator is told, acknowledges, and hears old and new defects."""
    station.day(2)
    with station.step("the walk begins with the open defects, read out one by one"):
        begin_gated(station, SECOND_OPERATOR)
        number = acknowledge(station, "left lift cylinder dripping")
        station.expect(number == 6, "six defects carried over")
        station.shot("walk-opened")
    with station.step("the point that the officer asked for comes first at its stop"):
        go(station, "left front")
        station.see("next drag link")
        station.shot("walk-recheck")
        say(station, "drag link tight", "TAKEN")
    with station.step("a defect heard again joins its history"):
        before = len(station.queue())
        say(station, "steering hoses chafed", "TAKEN")
        say(station, "left slack adjuster travel one and one quarter inches", "TAKEN")
        station.shot("walk-heard-again")
    with station.step("sound, against an open defect, does not close it"):
        say(station, "left lift cylinder dry")
        station.shot("walk-against-defect")
        finish(station)
        station.expect(len(station.queue()) == before, "no new defect")
        hoses = station.defect(station.defect_of(HOSES[0]).defect_id)
        station.expect(len(hoses.hearings) == 2, "two hearings of one defect")
        station.expect(station.defect_of(CYLINDER[0]).contradicted, "the contradiction")
    with station.step("the officer sees the contradiction in the review"):
        open_review(station, station.last_walk())
        choose_item(station, "SOUND, AGAINST AN OPEN DEFECT", "left lift cylinder dry")
        station.shot("review-against-defect")
        station.terminal.press("q")
        station.terminal.ended()
        station.run("voicelog shop list", shows=("SINCE SAID TO BE SOUND",))


def repair(station: Station, what: tuple[str, str], findings: str, parts: str, minutes: str) -> None:
    """Record a repair, and certify it with the PIN."""
    choose(station, what)
    shopping.act(station, "r", "Repaired, as mechanic", MECHANIC, findings, parts, minutes)
    shopping.done(station, "repaired by K. Osei")
    shopping.act(station, "y", "Certify, as mechanic", MECHANIC, "")
    shopping.done(station, "certified as repaired by K. Osei")
    station.expect(state_of(station, what) == "certified", "the certificate")


def thursday_repairs(station: Station) -> None:
    """The mechanic works the queue."""
    station.day(3)
    with station.step("a point's readings are shown over time"):
        shopping.open_shop(station)
        choose(station, SLACK)
        station.see(f"{station.date(0)} hand travel 1 1/8 in", f"{station.date(2)} hand travel 1 1/4 in")
        station.shot("shop-readings")
    with station.step("a repair needs its findings; a wrong part or time is told"):
        shopping.act(
            station, "r", "Repaired, as mechanic", MECHANIC, "adjuster renewed", "1 x slack adjuster", "half"
        )
        station.see("'half' is not a number of minutes")
        station.shot("shop-repair-refused")
        station.terminal.press("Escape")
        station.terminal.see_no("Escape leaves")
    with station.step("it cannot be certified before it is repaired"):
        shopping.act(station, "y", "Certify, as mechanic", MECHANIC, "")
        station.see("cannot be certified")
        station.terminal.press("Escape")
        station.terminal.see_no("Escape leaves")
    with station.step("repairs with parts, time and findings, certified with the PIN"):
        repair(station, SLACK, "adjuster worn, renewed and set", "1 x slack adjuster # 40-221", "70")
        repair(station, HARNESS, "two wires spliced and sleeved", "2 x splice # 40-117; 1 x sleeve", "95")
        station.shot("shop-certified")
    with station.step("another is found not to need repair"):
        choose(station, GEAR)
        shopping.act(
            station, "x", "No repair needed, as mechanic", MECHANIC, "grease of assembly, wiped", "20"
        )
        shopping.done(station, "no repair needed by K. Osei")
        shopping.act(station, "y", "Certify, as mechanic", MECHANIC, "run warm, dry after an hour")
        shopping.done(station, "certified as no repair needed")
        station.shot("shop-not-needed")
    with station.step("the work order is written, as page and text"):
        choose(station, HARNESS)
        station.terminal.press("w")
        station.see("Work order:")
        station.shot("shop-work-order")
        defect_id = station.defect_of(HARNESS[0]).defect_id
        texts = [p.read_text(encoding="utf-8") for p in station.folder.glob(f"*{defect_id}*") if p.is_file()]
        station.expect(len(texts) == 2 and all("splice # 40-117" in t for t in texts), "both work orders")
        shopping.leave(station)


def friday_commands(station: Station) -> None:
    """The same acts as commands: sent, repaired, certified."""
    station.day(4)
    cylinder = station.defect_of(CYLINDER[0]).defect_id
    belt = station.defect_of(BELT[0]).defect_id
    with station.step("sent, repaired and certified by command, each with its PIN"):
        station.run(f'voicelog shop send {cylinder} --by "{OFFICER}"', OFFICER, shows=("sent to the shop",))
        for defect_id, findings, part in (
            (cylinder, "rod seal cut, new seal", "1 x rod seal # 40-330"),
            (belt, "belt glazed, renewed", "1 x belt # 40-512"),
        ):
            station.run(
                f'voicelog shop repair {defect_id} --by "{MECHANIC}" --findings "{findings}" '
                f'--part "{part}" --minutes 45',
                MECHANIC,
                shows=("repaired by K. Osei",),
            )
            station.run(
                f'voicelog shop certify {defect_id} --by "{MECHANIC}"',
                MECHANIC,
                shows=("certified as repaired",),
            )
    with station.step("a repair that is not good is opened again, and done anew"):
        station.run(
            f'voicelog shop reopen {belt} --by "{OFFICER}" --role officer --reason "belt squeals"',
            OFFICER,
            shows=("opened again by M. Ruiz",),
        )
        station.expect(station.defect(belt).is_open, "the defect opened again")
        station.run(
            f'voicelog shop repair {belt} --by "{MECHANIC}" --findings "tension set" --minutes 15', MECHANIC
        )
        station.run(f'voicelog shop certify {belt} --by "{MECHANIC}"', MECHANIC)
        station.run(f"voicelog shop show {belt}", shows=("opened again by M. Ruiz", "tension set"))
        station.shot("shop-show")


def saturday_walk(station: Station) -> None:
    """Repaired points are read out and asked for again; a look closes their defects."""
    station.day(5)
    with station.step("a deferral past its day is told in the queue"):
        shopping.open_shop(station)
        station.see("1 deferred past its day")
        choose(station, HOSES)
        station.see("THAT DAY HAS PASSED")
        station.shot("shop-overdue")
        shopping.leave(station)
    with station.step("open and repaired defects are read out; repaired points are to be looked at"):
        begin_gated(station, OPERATOR)
        station.see("repair certified. Look again.")
        acknowledge(station)
    with station.step("a repaired point comes first at its stop"):
        go(station, "left front")
        station.see("look at it again")
        station.shot("walk-repaired-first")
        for text in (
            "left lift cylinder dry",
            "steering gear dry",
            "left slack adjuster travel one half inch",
        ):
            say(station, text, "TAKEN")
        station.shot("walk-looked-at")
    with station.step("the tablet is handed over, with name and PIN"):
        station.terminal.press("o")
        station.see("Who has this in hand now?")
        station.shot("walk-hand-over")
        station.fill(SECOND_OPERATOR, PINS[SECOND_OPERATOR])
        station.terminal.see_no("Who has this in hand now?")
        here = next(stop for stop in SHEET.stops if stop.name == "left front")
        affirm_cautions(station, len(SHEET.gate) + len(here.gate) - 1)
        station.terminal.press("a")
        acknowledge(station)
        handed = [e for e in station.events(station.last_walk()) if isinstance(e, WalkHandedOver)]
        station.expect(handed and handed[-1].operator == SECOND_OPERATOR, "the hand-over")
    with station.step("another operator looks at the next; the walk ends"):
        go(station, "left middle")
        say(station, "left wiring harness fully seated", "TAKEN")
        finish(station)
        for what in (CYLINDER, GEAR, SLACK, HARNESS):
            station.expect(state_of(station, what) == "closed", f"{' '.join(what)} closed")
        station.run(
            f"voicelog shop show {station.defect_of(HARNESS[0]).defect_id}",
            shows=("closed by J. Okafor (operator)", "repair certified by K. Osei"),
        )
        station.expect({d.state for d in station.queue()} == {"deferred", "certified"}, "two defects left")


def sunday_walk(station: Station) -> None:
    """What comes back after closing is a new defect; the officer signs out of service."""
    station.day(6)
    with station.step("a defect that comes back after closing says so"):
        begin_gated(station, SECOND_OPERATOR)
        acknowledge(station)
        go(station, "left middle")
        say(station, "left wiring harness copper showing", "TAKEN")
        go(station, "engine front")
        say(station, "alternator belt deflection one half inch")
        say(station, "alternator belt like new", "TAKEN")
        finish(station)
        back = station.defect_of(HARNESS[0])
        station.expect(back.came_back and back.state == "heard", "the defect that came back")
        station.expect(state_of(station, BELT) == "closed", "the belt closed")
        shopping.open_shop(station)
        station.see("CAME BACK")
        station.shot("shop-came-back")
        shopping.leave(station)
    with station.step("the officer signs the unit out of service"):
        station.clock.forward(minutes=20)
        open_review(station, station.last_walk())
        station.terminal.press("p")
        station.see("Who has this in hand now?")
        station.terminal.enter(OFFICER)
        station.terminal.move("Enter", RULE)
        in_hand(station, OFFICER)
        station.see("In the hands of M. Ruiz")
        sign(station, "out of service", "bare wire at the left harness again", "", PINS[OFFICER])
        station.see("Signed: confirmed by M. Ruiz", "out of service")
        station.shot("review-out-of-service")
        station.terminal.press("q")
        station.terminal.ended()


def sunday_reports(station: Station) -> None:
    """Reports, history and overview in every form; the whole record proved; a backup."""
    walk = station.last_walk()
    proof(station)
    with station.step("the walk's report as HTML, text, PDF, CSV and JSON"):
        station.run(
            f"voicelog report {walk} --out reports --form html --form txt --form pdf --form csv --form json"
        )
        station.shot("report")
        made = {path.suffix: path for path in (station.folder / "reports").iterdir()}
        station.expect(set(made) == {".html", ".txt", ".pdf", ".csv", ".json"}, "five forms")
        station.expect("out of service" in made[".html"].read_text(encoding="utf-8"), "the decision in HTML")
        station.expect(made[".pdf"].read_bytes().startswith(b"%PDF-"), "a PDF")
        with made[".csv"].open(encoding="utf-8", newline="") as opened:
            rows = list(csv.DictReader(opened))
        station.expect(any(row["finding"] == "bare wire" for row in rows), "the defect in CSV")
        station.expect(json.loads(made[".json"].read_text(encoding="utf-8"))["rows"], "the rows in JSON")
    with station.step("the unit's history and the station's overview"):
        for form in ("html", "pdf", "csv", "json"):
            station.run(f"voicelog history {UNIT_ID} --out history --form {form}")
            station.run(f"voicelog overview --unit {UNIT} --out overview --form {form}")
        history = (station.folder / "history").glob("*.html")
        text = next(history).read_text(encoding="utf-8")
        station.expect("closed" in text and "bare wire" in text, "the lives of defects in the history")
        station.expect(list((station.folder / "overview").glob("*.pdf")), "the overview as PDF")
        station.shot("overview")
    with station.step("the whole record is proved, and so is its backup"):
        shutil.rmtree(station.folder / "backup", ignore_errors=True)  # of a run before
        station.run("voicelog verify")
        station.run("voicelog backup backup")
        station.run("voicelog verify backup")
        station.run("voicelog retention")
        station.shot("proved")
