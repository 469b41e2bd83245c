"""Monday: people and policy, the first walk with its defects, the officer's review, the proof."""

from __future__ import annotations

import shutil

from tests.conftest import ROOT
from voicelog.people.lockout import locked_until
from voicelog.screens.palette import RULE
from voicelog.walk.events import EntryLogged, GroupMarkConfirmed, RecheckAsked, RemarkLogged, SignedOff

from .reviewing import choose, chosen, in_hand, open_review, sign
from .station import (
    MECHANIC,
    OFFICER,
    OPERATOR,
    PINS,
    SECOND_OPERATOR,
    UNIT,
    WRONG_PIN,
    Station,
    monday_sound,
)
from .walking import SHEET, affirm_cautions, begin, finish, go, say

HEARING_BOUND = 400.0
"""Seconds for two minutes of sound to be heard on a loaded machine."""


def people(station: Station) -> None:
    """Put four people on record, the officer first."""
    for name, role in (
        (OFFICER, "officer"),
        (OPERATOR, "operator"),
        (SECOND_OPERATOR, "operator"),
        (MECHANIC, "mechanic"),
    ):
        with station.step(f"{name} is put on record as {role}, with a PIN that is not shown"):
            first = name == OFFICER
            by = "" if first else f' --by "{OFFICER}"'
            station.start(f'voicelog people add "{name}" --role {role}{by}', *(() if first else (OFFICER,)))
            for asked in (f"New PIN of {name}:", "Repeat for confirmation:"):
                station.see(asked)
                station.terminal.type(PINS[name])
                station.terminal.press("Enter")
            printed = station.terminal.ended()
            station.expect(f"added: {name}, {role}, key" in printed, f"{name} added")
            station.expect(PINS[name] not in printed, "no PIN on the screen")
    with station.step("four people are listed, with roles and keys"):
        station.run("voicelog people list", shows=(*PINS, "operator key", "station"))
        station.shot("people-list")


def policy(station: Station) -> None:
    """Make the example the station's local policy."""
    with station.step("the local policy is put in the data folder and looked at"):
        shutil.copy(ROOT / "grammars" / "policy.toml", station.data / "policy.toml")
        station.run("voicelog policy check", shows=("Example policy, Tolliver Bend",))
        station.shot("policy")


def heard_walk(station: Station) -> None:
    """Walk by voice: two stops and a note that is dictated at the third."""
    sound = monday_sound(station.folder)
    with station.step("a wrong PIN begins no walk"):
        command = f'voicelog walk --unit {UNIT} --operator "{OPERATOR}" --from {sound}'
        station.start(command)
        station.see(f"PIN of {OPERATOR}:")
        station.terminal.type(WRONG_PIN)
        station.terminal.press("Enter")
        station.terminal.ended(code=2)
        station.see("this is not the PIN of")
        station.expect(not station.walks(), "no walk begun with a wrong PIN")
    with station.step("the walk opens with its cautions, each asked by itself"):
        station.start(command, OPERATOR)
        station.terminal.wait(lambda s: s.has("RECORDING") and s.has("CAUTION"), "a caution", HEARING_BOUND)
        station.shot("walk-caution")
    with station.step("a defect that is spoken is taken, with its class"):
        station.terminal.wait(lambda s: s.has("left lift cylinder dripping"), "the leak", HEARING_BOUND)
        station.shot("walk-defect")
    with station.step("a note is dictated, and the recording ends"):
        station.terminal.wait(lambda s: s.has("The sound has ended"), "the end of the sound", HEARING_BOUND)
        station.see("STOPPED", "bare wire (hold)")
        station.shot("walk-sound-over")
    with station.step("the walk is left open, to be gone on with"):
        station.terminal.press("q")
        station.see("leave now; the walk stays open")
        station.shot("walk-leave")
        station.terminal.press("l")
        station.expect("is not complete" in station.terminal.ended(code=1), "the walk is open")
        (walk,) = station.walks()
        station.expect(not walk.finished, "an unfinished walk")
        notes = [e for e in station.events(walk.walk) if isinstance(e, RemarkLogged)]
        station.expect(notes and all(note.heard.clip for note in notes), "the note with its sound")


def typed_walk(station: Station) -> None:
    """Take the walk up by keyboard and end it."""
    station.clock.forward(minutes=10)
    with station.step("the same command takes the walk up; all cautions are asked again"):
        begin(station, OPERATOR)
        station.see("walk resumed", "left middle")
        station.shot("walk-resumed")
        here = next(stop for stop in SHEET.stops if stop.name == "left middle")
        affirm_cautions(station, len(SHEET.gate) + len(here.gate))
    with station.step("the rest of a stop is marked sound after it was read back"):
        go(station, "left rear")
        say(station, "mark the rest of this stop sound", "mark 2 points sound", "transmission fluid")
        station.shot("walk-group-mark-asked")
        say(station, "affirmative", "2 points sound, by group mark")
    with station.step("readings are judged, a defect is classed, talk makes no entry"):
        go(station, "engine front")
        say(station, "fan belt deflection three quarters of an inch", "within the limit, at most 3/4 in")
        say(station, "alternator belt glazed", "glazed (repair)")
        before = len(entries(station))
        say(station, "the radiator looks a bit odd", "NOT UNDERSTOOD")
        station.expect(len(entries(station)) == before, "no entry of what is not a phrase")
        station.shot("walk-engine-front")
    for key, text, name in (
        ("d", "Doubts and defects", "walk-doubts"),
        ("c", "Cautions", "walk-cautions"),
        ("question_mark", "Keys and words", "walk-help"),
    ):
        with station.step(f"the page {text!r} opens and closes"):
            station.terminal.press("?" if key == "question_mark" else key)
            station.see(text, "Esc closes")
            station.shot(name)
            station.terminal.press("Escape")
            station.terminal.see_no("Esc closes")
    with station.step("the far view can be read from a distance"):
        station.terminal.press("f")
        station.terminal.see_no("covered 15 of 48")
        station.shot("walk-far")
        station.terminal.press("f")
        station.see("covered 15 of 48")
    with station.step("the walk is finished, and what was not covered is named"):
        finish(station)
        (walk,) = station.walks()
        station.expect(walk.finished, "the finished walk")
        station.run("voicelog walks", shows=("complete",))


def entries(station: Station) -> list[EntryLogged]:
    """Return the entries of the latest walk."""
    return [e for e in station.events(station.last_walk()) if isinstance(e, EntryLogged)]


def review(station: Station) -> None:
    """The officer goes through what needs a person, and signs."""
    station.clock.forward(minutes=20)
    walk = station.last_walk()
    with station.step("the review begins with the doubts"):
        open_review(station, walk)
        station.see("IN DOUBT: SETTLE (2)", "IN DOUBT", "key 1", "tilt pump dry")
        station.shot("review")
    with station.step("help tells every key"):
        station.terminal.press("?")
        station.see("Any key closes this page")
        station.shot("review-help")
        station.terminal.press("Escape")
        station.terminal.see_no("Any key closes this page")
    with station.step("the sound key finds the sound"):
        station.terminal.press("Space")
        station.terminal.wait(lambda s: s.has("Played.") or s.has("No sound output here"), "the sound")
        station.shot("review-sound")
    with station.step("signing is refused while anything is in doubt"):
        station.terminal.press("y")
        station.see("Settle, correct or reject first what is in doubt: tilt pump dry")
    with station.step("three wrong PINs lock the officer out for half a minute"):
        station.terminal.press("1")
        station.see("Who has this in hand now?")
        station.terminal.enter(OFFICER)
        station.terminal.move("Enter", RULE)
        for tries in range(3):
            station.fill(WRONG_PIN)
            station.see("this is not the PIN of" if tries < 2 else "It may be tried again in 30 s")
            # The message stands already: the emptied line tells that this try is over.
            station.terminal.wait(lambda s: not s.has("••••••"), "the emptied line")
        station.shot("review-locked-out")
        station.fill(PINS[OFFICER])
        station.see("was wrong 3 times, and may be tried again from")
        with station.store() as store:
            until = locked_until(store.people.now().person(OFFICER), station.clock.now())
        station.expect(until is not None, "the lock after three wrong PINs")
        station.clock.forward(seconds=40)
        in_hand(station, OFFICER)
    with station.step("the doubt is settled"):
        settle_form(station, "seen to be dry")
        station.see("Settled: tilt pump dry")
    with station.step("the next doubt is rejected: it counts for nothing"):
        choose(station, "IN DOUBT", "tilt hoses dry")
        station.terminal.press("r")
        station.see("Reject tilt hoses dry", "why it is to count for nothing")
        station.shot("review-reject")
        station.fill("said in one breath, not looked at")
        station.see("Rejected: tilt hoses dry")
    with station.step("a defect is corrected by a search with slips of the keys"):
        choose(station, "DEFECT", "steering gear beading")
        station.terminal.press("c")
        station.see("Correct: steering gear beading")
        station.terminal.type("stering gear weping")
        station.see("steering gear weeping")
        station.shot("review-correct")
        station.terminal.move("Down", RULE)
        station.terminal.press("Enter")
        station.see("Means: steering gear weeping (defect, class one leak)")
        station.terminal.move("Enter", RULE)
        station.fill("damp only, seen with a lamp")
        station.see("Corrected to: steering gear weeping")
        choose(station, "DEFECT", "steering gear weeping")
        station.see("damp only, seen with a lamp")
        station.shot("review-corrected")
    with station.step("a sound entry is rejected: its point is open again"):
        choose(station, "SOUND", "left brake hose intact")
        station.terminal.press("r")
        station.see("Reject left brake hose intact")
        station.fill("not turned over")
        station.see("Rejected: left brake hose intact")
    with station.step("a point that was not covered is to be looked at again"):
        choose(station, "NOT COVERED", "drag link")
        station.terminal.press("l")
        station.see("Look at drag link again")
        station.fill("heard a knock last week")
        station.see("To be looked at again: drag link")
        station.expect(
            any(isinstance(e, RecheckAsked) for e in station.events(walk)), "the re-check that was asked"
        )
    with station.step("of a group mark one point is opened again, the other confirmed"):
        choose(station, "SOUND, BY GROUP MARK", "points at left rear")
        station.shot("review-group-mark")
        station.terminal.press("2")
        station.see("Re-open the group mark: transmission fluid")
        station.fill("dipstick is read cold and hot")
        station.see("Re-opened: transmission fluid")
        choose(station, "SOUND, BY GROUP MARK", "left rear")
        station.terminal.press("a")
        station.see("Confirm the group mark")
        station.fill("")
        station.see("Confirmed:")
        station.expect(
            any(isinstance(e, GroupMarkConfirmed) for e in station.events(walk)), "the confirmed mark"
        )
    with station.step("a decision against the local policy needs its own reason, and the PIN"):
        sign(station, "in service with restrictions", "parade only, chocked", "", PINS[OFFICER])
        station.see("is against the local policy", "or say why it is overridden")
        station.shot("review-sign-against-policy")
        station.expect(not signatures(station, walk), "no signature without the reason")
        station.terminal.press("Escape")
        chosen(station)
        sign(
            station, "in service with restrictions", "parade only, chocked", "chief asked by phone", WRONG_PIN
        )
        station.see("this is not the PIN of")
        station.shot("review-sign-wrong-pin")
        station.expect(not signatures(station, walk), "no signature with a wrong PIN")
        station.terminal.press("Escape")
        chosen(station)
        sign(
            station,
            "in service with restrictions",
            "parade only, chocked",
            "chief asked by phone",
            PINS[OFFICER],
        )
        station.see("Signed: confirmed by M. Ruiz", "AGAINST THE LOCAL POLICY in 3 defects")
        chosen(station)
        station.shot("review-signed")
        (signed,) = signatures(station, walk)
        station.expect(
            signed.by == OFFICER and signed.key_id and signed.override_reason == "chief asked by phone",
            "the signature with its override",
        )
        station.terminal.press("q")
        station.terminal.ended()


def settle_form(station: Station, reason: str) -> None:
    """Give the reason where settling asks for one."""
    screen = station.terminal.wait(lambda s: s.has("Settle as") or s.has("Settled:"), "the settling")
    if screen.has("Settle as"):
        station.shot("review-settle")
        station.fill(reason)


def signatures(station: Station, walk: str) -> list[SignedOff]:
    """Return the signatures on record."""
    return [e for e in station.events(walk) if isinstance(e, SignedOff)]


def proof(station: Station) -> None:
    """Export the walk, and prove it there and here."""
    walk = station.last_walk()
    with station.step("the signed walk is exported, and both file and record are proved whole"):
        file = f"{walk}.voicelog"
        (station.folder / file).unlink(missing_ok=True)  # of a run before
        station.run(f"voicelog export {walk} --out {file}")
        station.run(f"voicelog verify {file}", shows=("whole",))
        station.run(f"voicelog verify {walk}", shows=("whole",))
        station.shot("verify")
