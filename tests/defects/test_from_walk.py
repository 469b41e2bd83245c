"""What walks make of a unit's defects: what joins, what raises, what comes back, what closes."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta, timezone

import pytest

from tests.defects.making import DAY, MONDAY, Unit, acknowledged, walk
from tests.walk.reviewing import doubted, logged, read, said
from voicelog.defects import acts
from voicelog.defects.book import Defect
from voicelog.defects.carried import stands
from voicelog.defects.events import (
    DEFECT_EVENT,
    DefectClosed,
    DefectConfirmed,
    DefectHeard,
    DefectsEntered,
    HearingTakenBack,
    OfADefect,
    PointRechecked,
    PointToRecheck,
    SaidSound,
    SoundTakenBack,
    happened_at,
)
from voicelog.defects.wording import age, days_between, happening
from voicelog.errors import DefectError
from voicelog.records.history import PointHistory
from voicelog.reports.work_order import order_text, work_order
from voicelog.screens.shop_text import defect_lines
from voicelog.walk.events import (
    DoubtSettled,
    EntryConfirmed,
    EntryCorrected,
    EntryWithdrawn,
    Event,
    RecheckAsked,
)
from voicelog.walk.state import WalkState

CYLINDER = "lift_cylinder_left"
DRIPPING, BEADING, WEEPING, DRY = (said(CYLINDER, c) for c in ("dripping", "beading", "weeping", "dry"))
GOOD = said(CYLINDER, "good")


@pytest.fixture
def unit() -> Unit:
    """A unit without a defect."""
    return Unit()


def certified(unit: Unit) -> str:
    """Take a dripping cylinder to its certified repair; return the defect's id."""
    unit.walked("w1", logged("e1", DRIPPING))
    defect_id = unit.only()
    unit.did(acts.repair(unit.book.defect(defect_id), by="K. Osei", role="mechanic", findings="new seal"))
    unit.did(acts.certify(unit.book.defect(defect_id), by="K. Osei", role="mechanic"))
    return defect_id


def test_a_defect_is_heard_once_for_each_entry(unit: Unit) -> None:
    """A walk that is entered again, with nothing new in it, gives nothing new."""
    state = walk([logged("e1", WEEPING)])
    (heard,) = unit.entered("w1", state)
    assert isinstance(heard, DefectHeard)
    assert (heard.point, heard.what, heard.matter_name, heard.class_name, heard.by) == (
        "left lift cylinder",
        "weeping",
        "leaks",
        "class one leak",
        "R. Alder",
    )
    assert unit.entered("w1", state) == ()


@pytest.mark.parametrize(
    ("later", "joins"),
    [
        (WEEPING, True),
        (DRIPPING, True),
        (said(CYLINDER, "loose"), False),
        (said("lift_cylinder_right", "weeping"), False),
        (said(CYLINDER, "defective"), False),
    ],
    ids=["the same", "worse", "another aspect", "another point", "no aspect named"],
)
def test_the_same_matter_joins_and_another_is_new(unit: Unit, later: object, joins: bool) -> None:
    """The same point and aspect in a later walk joins the defect; anything else opens a new one."""
    unit.walked("w1", logged("e1", WEEPING))
    unit.walked("w2", logged("e1", later))  # type: ignore[arg-type]
    assert len(unit.book.open()) == (1 if joins else 2)


def test_a_reading_past_its_limit_is_a_defect_of_that_reading(unit: Unit) -> None:
    """Twice past the limit is one defect, at the rank of the worst class; within it is none."""
    past, within = read("fan_belt", "deflection", "1"), read("fan_belt", "deflection", "1/4")
    assert unit.walked("w1", logged("e1", within)) == ()
    unit.walked("w2", logged("e1", past))
    unit.walked("w3", logged("e1", past))
    (defect,) = unit.book.open()
    assert (defect.worst.matter, defect.worst.what, defect.worst.rank) == (
        "reading:deflection",
        "deflection 1 in",
        3,
    )
    assert len(defect.hearings) == 2


@pytest.mark.parametrize(
    ("first", "second", "state", "what"),
    [
        (WEEPING, DRIPPING, "heard", "dripping"),
        (WEEPING, WEEPING, "deferred", "weeping"),
        (DRIPPING, WEEPING, "deferred", "dripping"),
    ],
    ids=["worse", "alike", "less"],
)
def test_only_a_worse_class_ends_a_deferral(
    unit: Unit, first: object, second: object, state: str, what: str
) -> None:
    """What was deferred was less than what is heard now: it needs a decision of its own."""
    unit.walked("w1", logged("e1", first))  # type: ignore[arg-type]
    defect_id = unit.only()
    unit.did(
        acts.defer(
            unit.book.defect(defect_id),
            until=date(2026, 12, 4),
            today=MONDAY.date(),
            by="M. Ruiz",
            role="officer",
            reason="seal on order",
        )
    )
    unit.walked("w2", logged("e1", second))  # type: ignore[arg-type]
    defect = unit.book.defect(defect_id)
    assert (defect.state, defect.worst.what) == (state, what)


def test_a_doubt_is_no_defect_until_it_is_settled(unit: Unit) -> None:
    """A doubt enters when a person settles it as a defect; settled on screen, that confirms it."""
    doubt = doubted("e1", (DRIPPING, 0.6), (DRY, 0.4))
    assert unit.walked("w1", doubt) == ()
    settled = DoubtSettled(entry_id="e1", claim=DRIPPING, by="M. Ruiz", reason="heard the clip")
    heard, confirmed = unit.entered("w1", walk([doubt, settled]))
    assert isinstance(heard, DefectHeard)
    assert isinstance(confirmed, DefectConfirmed)
    assert (confirmed.by, confirmed.reason) == ("M. Ruiz", "heard the clip")


CHANGES: list[tuple[str, Event, str]] = [
    ("withdrawn", EntryWithdrawn(entry_id="e1", by="M. Ruiz", reason="wrong point"), "taken back"),
    (
        "corrected to sound",
        EntryCorrected(entry_id="e1", claim=DRY, by="M. Ruiz", reason="wet from washing"),
        "taken back",
    ),
    (
        "corrected within its matter",
        EntryCorrected(entry_id="e1", claim=BEADING, by="M. Ruiz", reason="does not fall"),
        "confirmed",
    ),
    ("confirmed", EntryConfirmed(entry_id="e1", by="M. Ruiz"), "confirmed"),
]


@pytest.mark.parametrize(("change", "state"), [c[1:] for c in CHANGES], ids=[c[0] for c in CHANGES])
def test_the_review_changes_the_defect(unit: Unit, change: Event, state: str) -> None:
    """What the officer does to the entry is done to the defect, by the officer's name."""
    unit.walked("w1", logged("e1", DRIPPING))
    events = unit.entered("w1", walk([logged("e1", DRIPPING), change]))
    defect = unit.book.defect("engine_61-d1")
    assert defect.state == state
    assert not isinstance(events[-1], DefectsEntered)
    assert events[-1].by == "M. Ruiz" and events[-1].role == "officer"


def test_one_hearing_taken_back_leaves_the_others(unit: Unit) -> None:
    """A defect heard in two walks stands while one of them says it, at the class that is left."""
    unit.walked("w1", logged("e1", WEEPING))
    unit.walked("w2", logged("e1", DRIPPING))
    withdrawn = EntryWithdrawn(entry_id="e1", by="M. Ruiz", reason="misheard")
    (event,) = unit.entered("w2", walk([logged("e1", DRIPPING), withdrawn]))
    assert isinstance(event, HearingTakenBack)
    defect = unit.book.defect("engine_61-d1")
    assert (defect.state, defect.worst.what) == ("heard", "weeping")


@pytest.mark.parametrize("before", ["heard", "confirmed", "deferred", "in the shop"])
def test_sound_does_not_close_an_open_defect(unit: Unit, before: str) -> None:
    """A point said sound while its defect is open is a contradiction, and nothing more."""
    unit.walked("w1", logged("e1", DRIPPING))
    defect = unit.book.defect(unit.only())
    officer = {"by": "M. Ruiz", "role": "officer"}
    if before == "confirmed":
        unit.did(acts.confirm(defect, by="M. Ruiz", role="officer"))
    elif before == "deferred":
        later, today = date(2026, 12, 4), MONDAY.date()
        unit.did(acts.defer(defect, until=later, today=today, reason="on order", **officer))  # type: ignore[arg-type]
    elif before == "in the shop":
        unit.did(acts.send(defect, by="M. Ruiz", role="officer"))
    (event,) = unit.walked("w2", *acknowledged(unit), logged("e1", DRY))[1:]
    assert isinstance(event, SaidSound)
    defect = unit.book.defect(defect.defect_id)
    assert defect.state == before
    assert [said.what for said in defect.contradictions] == ["dry"]
    unit.walked("w3", logged("e1", DRIPPING))
    assert unit.book.defect(defect.defect_id).contradictions == ()


def test_sound_after_certificate_and_acknowledgement_closes(unit: Unit) -> None:
    """The next operator acknowledges the certified repair, finds the point sound, and it is closed."""
    defect_id = certified(unit)
    events = unit.walked("w2", *acknowledged(unit), logged("e1", DRY))
    closed = events[-1]
    assert isinstance(closed, DefectClosed)
    assert (closed.walk, closed.entry_id, closed.by) == ("w2", "e1", "R. Alder")
    assert unit.book.defect(defect_id).state == "closed"
    assert unit.book.open() == ()


@pytest.mark.parametrize(
    "case", ["not acknowledged", "another aspect", "not certified", "said before the certificate", "in doubt"]
)
def test_what_does_not_close(unit: Unit, case: str) -> None:
    """Without the certificate, the acknowledgement or a look at that very matter it stays open."""
    if case == "not certified":
        unit.walked("w1", logged("e1", DRIPPING))
        defect = unit.book.defect(unit.only())
        unit.did(acts.repair(defect, by="K. Osei", role="mechanic", findings="new seal"))
        unit.walked("w2", *acknowledged(unit), logged("e1", DRY))
    else:
        certified(unit)
        if case == "not acknowledged":
            unit.walked("w2", logged("e1", DRY))
        elif case == "another aspect":
            unit.walked("w2", *acknowledged(unit), logged("e1", said(CYLINDER, "tight")))
        elif case == "in doubt":
            unit.walked("w2", *acknowledged(unit), doubted("e1", (DRY, 0.6), (DRIPPING, 0.4)))
        else:
            state = walk([*acknowledged(unit), logged("e1", DRY)], MONDAY - DAY)
            unit.entered("w2", state)
    assert len(unit.book.open()) == 1


def test_told_of_the_work_but_not_of_its_certificate(unit: Unit) -> None:
    """An operator who was read "repaired" has not acknowledged a certificate that came in between."""
    unit.walked("w1", logged("e1", DRIPPING))
    defect_id = unit.only()
    unit.did(acts.repair(unit.book.defect(defect_id), by="K. Osei", role="mechanic", findings="new seal"))
    read_out = acknowledged(unit)
    unit.did(acts.certify(unit.book.defect(defect_id), by="K. Osei", role="mechanic"))
    unit.walked("w2", *read_out, logged("e1", DRY))
    assert unit.book.defect(defect_id).state == "certified"


def test_what_closed_it_is_taken_back(unit: Unit) -> None:
    """When the officer takes back the entry that closed a defect, it is open again."""
    defect_id = certified(unit)
    events = [*acknowledged(unit), logged("e1", DRY)]
    begin = unit.now
    unit.entered("w2", walk(events, begin))
    withdrawn = EntryWithdrawn(entry_id="e1", by="M. Ruiz", reason="the other cylinder")
    (event,) = unit.entered("w2", walk([*events, withdrawn], begin))
    assert isinstance(event, SoundTakenBack)
    assert unit.book.defect(defect_id).state == "certified"


@pytest.mark.parametrize("work", ["repaired", "certified"])
def test_heard_again_after_the_repair(unit: Unit, work: str) -> None:
    """A repair that did not hold is the same defect, heard again, and its certificate is void."""
    defect_id = certified(unit)
    if work == "repaired":
        unit.did(acts.reopen(unit.book.defect(defect_id), by="M. Ruiz", role="officer", reason="weeps again"))
        unit.did(acts.repair(unit.book.defect(defect_id), by="K. Osei", role="mechanic", findings="again"))
    unit.walked("w2", *acknowledged(unit), logged("e1", WEEPING))
    defect = unit.book.defect(defect_id)
    assert (defect.state, defect.certified_at, defect.acknowledged_since_certified) == ("heard", None, False)


def test_heard_again_after_closing_came_back(unit: Unit) -> None:
    """The same matter after closing is a new defect that names the earlier one."""
    first = certified(unit)
    unit.walked("w2", *acknowledged(unit), logged("e1", GOOD))
    unit.walked("w3", logged("e1", WEEPING))
    (defect,) = unit.book.open()
    assert (defect.defect_id, defect.first.came_back_from) == ("engine_61-d2", first)


def test_an_old_entry_does_not_open_a_closed_defect_again(unit: Unit) -> None:
    """Looking through the first walk once more, after closing, changes nothing."""
    certified(unit)
    unit.walked("w2", *acknowledged(unit), logged("e1", GOOD))
    assert (
        unit.entered("w1", walk([logged("e1", DRIPPING), EntryConfirmed(entry_id="e1", by="M. Ruiz")])) == ()
    )


def test_a_recheck_is_carried_until_the_point_is_spoken_of(unit: Unit) -> None:
    """The officer's wish goes into the next walk, and is done once that walk says anything of it."""
    asked = RecheckAsked(point_id=CYLINDER, by="M. Ruiz", reason="too quick")
    (wish,) = unit.walked("w1", logged("e1", DRY), asked)
    assert isinstance(wish, PointToRecheck)
    (brought,) = acknowledged(unit)
    assert unit.walked("w2", brought) == ()
    (done,) = unit.walked("w3", brought, logged("e1", DRY))
    assert isinstance(done, PointRechecked)
    assert unit.book.rechecks == {}
    assert unit.entered("w1", walk([logged("e1", DRY), asked])) == ()


def looks(*events: Event) -> WalkState:
    """Return a walk that carries a certified repair, and what was said in it."""
    unit = Unit()
    certified(unit)
    return walk([*acknowledged(unit), *events], unit.now)


def test_a_repaired_point_is_asked_for_again() -> None:
    """It comes first at its stop, and is not covered until that very matter is spoken of."""
    stop = looks().sheet.points[CYLINDER].stop_id
    from voicelog.walk.events import StopEntered

    at_stop = looks(StopEntered(stop_id=stop))
    assert at_stop.prompted == CYLINDER
    tight = looks(logged("e1", said(CYLINDER, "tight")))
    assert tight.status(CYLINDER) == "open"
    assert CYLINDER in {p.id for p in tight.missing()}
    assert looks(logged("e1", DRY)).status(CYLINDER) == "sound"
    assert looks(logged("e1", WEEPING)).status(CYLINDER) == "defect"
    assert looks(doubted("e1", (DRY, 0.6), (WEEPING, 0.4))).status(CYLINDER) == "doubt"


ACTS = [
    (
        "a past day",
        lambda d: acts.defer(
            d, until=MONDAY.date(), today=MONDAY.date(), by="M. Ruiz", role="officer", reason="x"
        ),
        "not after today",
    ),
    (
        "no reason",
        lambda d: acts.defer(
            d, until=date(2027, 1, 1), today=MONDAY.date(), by="M. Ruiz", role="officer", reason=" "
        ),
        "reason",
    ),
    ("no findings", lambda d: acts.repair(d, by="K. Osei", role="mechanic", findings=""), "findings"),
    (
        "nothing looked at",
        lambda d: acts.need_no_repair(d, by="K. Osei", role="mechanic", findings=""),
        "findings",
    ),
    ("nobody", lambda d: acts.send(d, by=" ", role="officer"), "name"),
    ("not repaired", lambda d: acts.certify(d, by="K. Osei", role="mechanic"), "cannot be certified"),
    (
        "the wrong role",
        lambda d: acts.repair(d, by="R. Alder", role="operator", findings="x"),
        "by the operator",
    ),
    (
        "time that cannot be",
        lambda d: acts.repair(d, by="K. Osei", role="mechanic", findings="x", minutes=-5),
        "minutes",
    ),
    ("closed at a desk", lambda d: acts.close(d, by="K. Osei", role="mechanic", reason="x"), "at a desk"),
]


@pytest.mark.parametrize(("act", "words"), [a[1:] for a in ACTS], ids=[a[0] for a in ACTS])
def test_what_is_refused(unit: Unit, act: object, words: str) -> None:
    """Each refusal says what is wrong and what to do."""
    unit.walked("w1", logged("e1", DRIPPING))
    defect = unit.book.defect(unit.only())
    with pytest.raises(DefectError) as caught:
        act(defect)  # type: ignore[operator]
    assert words in caught.value.what and caught.value.remedy


@pytest.mark.parametrize(
    ("written", "name", "quantity", "number"),
    [
        ("hose clamp", "hose clamp", "1", ""),
        ("2 x hose clamp", "hose clamp", "2", ""),
        ("2 x hose clamp # 40-117", "hose clamp", "2", "40-117"),
        ("1 1/2 x hose", "hose", "3/2", ""),
        ("fuse #A5", "fuse", "1", "A5"),
    ],
)
def test_parts_as_they_are_written(written: str, name: str, quantity: str, number: str) -> None:
    """A part is its name, with how many before it and its number after it."""
    part = acts.part(written)
    assert (part.name, str(part.quantity), part.number) == (name, quantity, number)


@pytest.mark.parametrize("written", ["", "0 x clamp", "#12"])
def test_what_is_no_part(written: str) -> None:
    """A part without a name, or none of it, is refused."""
    with pytest.raises(DefectError):
        acts.part(written)


# dates --------------------------------------------------------------------------------------------


def test_what_came_of_a_walk_is_dated_by_the_walk(unit: Unit) -> None:
    """Entered two days late, it was heard, confirmed and closed when it was said; both times are kept."""
    events: list[Event] = [logged("e1", DRIPPING), EntryConfirmed(entry_id="e1", by="M. Ruiz")]
    unit.now = MONDAY + 2 * DAY
    unit.entered("w1", walk(events, MONDAY))
    defect = unit.book.defect(unit.only())
    said_at, done_at = MONDAY + timedelta(seconds=1), MONDAY + timedelta(seconds=2)
    assert [(h.at, h.entered_at) for h in defect.happenings] == [(said_at, unit.now), (done_at, unit.now)]
    assert defect.heard_at == said_at
    assert "(entered 2026-11-25 08:00)" in happening(defect.happenings[0])
    order = order_text(work_order(defect, PointHistory(), unit.now))
    assert "2026-11-23 07:00:01" in order and "First heard:     2026-11-23 07:00, 2 days" in order
    assert any(words.startswith("heard: ") for at, words in defect_lines(defect, PointHistory(), unit.now))
    assert dict(defect_lines(defect, PointHistory(), unit.now))["open for"] == "2 days"


def test_an_older_record_is_dated_as_well_as_it_can_be() -> None:
    """A hearing has always had its own time; what had none happened when it was entered."""
    body = (
        '{"kind":"defect heard","defect_id":"engine_61-d1","by":"R. Alder","role":"operator",'
        '"unit_id":"engine_61","unit_name":"Engine 61","sheet_id":"engine_bay","point_id":"p",'
        '"point":"left lift cylinder","matter":"leak","matter_name":"leaks","what":"dripping",'
        '"class_id":null,"class_name":"","rank":3,"walk":"w1","entry_id":"e1",'
        '"said_at":"2026-11-23T07:10:00-05:00","clip":null,"came_back_from":null}'
    )
    heard = DEFECT_EVENT.validate_json(body)
    closed = DEFECT_EVENT.validate_json(
        '{"kind":"defect closed","defect_id":"engine_61-d1","by":"R. Alder","role":"operator",'
        '"reason":"x","walk":"w2","entry_id":"e1"}'
    )
    entered = MONDAY + 3 * DAY
    assert isinstance(heard, DefectHeard) and isinstance(closed, DefectClosed)
    assert happened_at(entered, heard).isoformat() == "2026-11-23T07:10:00-05:00"
    assert happened_at(entered, closed) == entered


EAST, DAYLIGHT = timezone(timedelta(hours=-5)), timezone(timedelta(hours=-4))
DATES = [
    ("the same hour", datetime(2026, 11, 23, 7, tzinfo=EAST), datetime(2026, 11, 23, 7, 30, tzinfo=EAST), 0),
    (
        "over midnight",
        datetime(2026, 11, 23, 23, 50, tzinfo=EAST),
        datetime(2026, 11, 24, 0, 5, tzinfo=EAST),
        1,
    ),
    (
        "the evening before",
        datetime(2026, 11, 23, 23, tzinfo=EAST),
        datetime(2026, 11, 24, 7, tzinfo=EAST),
        1,
    ),
    (
        "clocks back",
        datetime(2026, 10, 31, 23, 30, tzinfo=DAYLIGHT),
        datetime(2026, 11, 2, 0, 10, tzinfo=EAST),
        2,
    ),
    (
        "clocks forward",
        datetime(2027, 3, 13, 0, 30, tzinfo=EAST),
        datetime(2027, 3, 15, 0, 10, tzinfo=DAYLIGHT),
        2,
    ),
    ("a leap day", datetime(2028, 2, 28, 12, tzinfo=EAST), datetime(2028, 3, 1, 12, tzinfo=EAST), 2),
    ("no leap day", datetime(2027, 2, 28, 12, tzinfo=EAST), datetime(2027, 3, 1, 12, tzinfo=EAST), 1),
    ("the clock set back", datetime(2026, 11, 23, 7, tzinfo=EAST), datetime(2026, 11, 22, 7, tzinfo=EAST), 0),
]


@pytest.mark.parametrize(("begin", "end", "days"), [d[1:] for d in DATES], ids=[d[0] for d in DATES])
def test_age_is_counted_by_the_calendar(begin: datetime, end: datetime, days: int) -> None:
    """Days are midnights of the place. Clocks change in the US at 2 on 1 November 2026 and 14 March 2027
    (15 USC 260a: second Sunday of March, first of November); 2028 is a leap year."""
    assert days_between(begin, end) == days
    assert age(begin, end) == ("today" if days == 0 else "1 day" if days == 1 else f"{days} days")


def test_a_deferral_lapses_after_its_day(unit: Unit) -> None:
    """Deferred until a leap day it stands all of that day, and has lapsed on the next."""
    unit.walked("w1", logged("e1", DRIPPING))
    until = date(2028, 2, 29)
    defect = unit.book.defect(unit.only())
    unit.did(acts.defer(defect, until=until, today=MONDAY.date(), by="M. Ruiz", role="officer", reason="x"))
    defect = unit.book.defect(defect.defect_id)
    lapsed = {day: defect.lapsed(date(2028, *day)) for day in ((2, 28), (2, 29), (3, 1))}
    assert lapsed == {(2, 28): False, (2, 29): False, (3, 1): True}


@pytest.mark.parametrize(
    ("work", "words"),
    [
        (
            lambda d: acts.repair(d, by="K. Osei", role="mechanic", findings="new seal"),
            "repair certified",
        ),
        (
            lambda d: acts.need_no_repair(d, by="K. Osei", role="mechanic", findings="wash water"),
            "certified, no repair needed",
        ),
    ],
)
def test_a_certificate_is_told_for_what_it_says(
    unit: Unit, work: Callable[[Defect], OfADefect], words: str
) -> None:
    """What nobody repaired is not read out to the next operator as repaired."""
    unit.walked("w1", logged("e1", DRIPPING))
    unit.did(acts.send(unit.book.defect(unit.only()), by="M. Ruiz", role="officer"))
    unit.did(work(unit.book.defect(unit.only())))
    unit.did(acts.certify(unit.book.defect(unit.only()), by="K. Osei", role="mechanic"))
    assert stands(unit.book.defect(unit.only())) == words
