"""What is logged of a remark while it is dictated, as events and replies. Pure."""

from __future__ import annotations

from collections.abc import Callable

from voicelog.meaning.facts import Heard
from voicelog.meaning.interpret import Interpretation
from voicelog.phrases.commands import language_of
from voicelog.walk.events import CommandHeard, Event, RemarkLogged, RemarkPointAsked
from voicelog.walk.gate import asked_now
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.state import WalkState, after

END = "end of remark"
DICTATED = "(dictation)"
"""What is shown for heard while the words are not made."""
_NAME_ALONE = 6
"""Words of "remark on" and a name, up to which nothing need have been dictated after the name."""
_LONGEST_NAME = 10
"""Words of "remark on" and a point's name, at most."""


def begin_on(state: WalkState, point_ids: tuple[str | None, ...], heard: Heard) -> Outcome:
    """Return the beginning of a remark on a point, or the question which of the points it is on.

    A point of None is the walk as a whole. Also where nothing can be logged yet: a remark is no claim.
    """
    names = [state.sheet.points[i].full_name if i else "the walk" for i in point_ids]
    if len(point_ids) > 1:
        asked = RemarkPointAsked(point_ids=tuple(i for i in point_ids if i), heard=heard)
        which = f"{', '.join(names[:-1])} or {names[-1]}"
        return Outcome((asked,), (Reply("doubt", f"remark on {which}?"),))
    begun = CommandHeard(command="remark", heard=heard, point_id=point_ids[0])
    return Outcome((begun,), (Reply("answer", f"remark on {names[0]}; say end of remark when done"),))


def part(state: WalkState, heard: Heard, *, text: str | None = None, ended: bool = False) -> Outcome:
    """Return a part of the remark that is taken; ``ended`` where its end was said in the same sound.

    ``text`` is what was typed; without it only the sound is kept, and the words are made later.
    """
    point_id = state.remark_point if state.in_remark else state.named
    return _logged(state, point_id, heard, text=text, ended=ended)


def end_of(state: WalkState, heard: Heard) -> Outcome:
    """Return the end of the remark, and the caution that was asked before it."""
    said = CommandHeard(command=END, heard=heard)
    return Outcome((said,), (Reply("answer", END), *asked_now(after(state, said), briefly=True)))


def inline(
    state: WalkState,
    meant: Interpretation,
    heard: Heard,
    points_of: Callable[[tuple[str, ...]], tuple[str, ...]],
) -> Outcome | None:
    """Return the remark of "remark, ..." said in one breath: no phrase, but plainly a remark.

    None where it is none. ``points_of`` gives the points that a phrase says a remark is on. Of what
    begins with "remark on" and is not sure to name a point, no point is made up: it is on the walk,
    or refused where little more than a name can have been said.
    """
    words = heard.free_text.split()
    language = language_of(state.sheet.lexicon)
    plain = [word.strip(",.:;").lower() for word in words]
    if meant.act != "refused" or len(words) < 2 or plain[0] not in language.commands.get("remark", ()):
        return None
    if plain[1] not in language.on:
        return _logged(state, _about(state), heard, text=" ".join(words[1:]))
    for count in range(min(len(words) - 1, _LONGEST_NAME), 2, -1):
        points = points_of(tuple(plain[:count]))
        if points:
            place = points[0] if len(points) == 1 else None
            return _logged(state, place, heard, text=" ".join(words[count:]))
    if len(words) <= _NAME_ALONE:
        return None
    return _logged(state, None, heard, text=" ".join(words[1:]))


def _about(state: WalkState) -> str | None:
    """Return the point that a remark is about that names none: of the defect that is read out, or at hand."""
    told = state.to_acknowledge if state.caution is None else None
    if told is not None:
        return told.point_id if told.here else None
    return state.named


def _logged(
    state: WalkState, point_id: str | None, heard: Heard, *, text: str | None, ended: bool = False
) -> Outcome:
    events: list[Event] = [
        RemarkLogged(
            remark_id=f"r{len(state.remarks) + 1}",
            point_id=point_id,
            heard=heard.model_copy(update={"text": text or ""}),
            transcribed=text is not None,
            continues=state.remark_id if state.in_remark else None,
            ended=ended,
        )
    ]
    name = state.sheet.points[point_id].full_name if point_id else "the walk"
    replies = [Reply("taken", f"remark on {name}")]
    if ended:
        said = end_of(state, heard)
        events += said.events
        replies += said.replies
    return Outcome(tuple(events), tuple(replies))
