"""What is logged of a remark while it is dictated, as events and replies. Pure."""

from __future__ import annotations

from voicelog.meaning.facts import Heard
from voicelog.meaning.interpret import Interpretation
from voicelog.phrases.commands import language_of
from voicelog.walk.events import CommandHeard, Event, RemarkLogged
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.state import WalkState

END = "end of remark"


def part(state: WalkState, heard: Heard, *, text: str | None = None, ended: bool = False) -> Outcome:
    """Return a part of the remark that is taken; ``ended`` where its end was said in the same sound.

    ``text`` is what was typed; without it only the sound is kept, and the words are made later.
    """
    point_id = state.remark_point if state.in_remark else state.named
    return _logged(state, point_id, heard, text=text, ended=ended)


def end_of(state: WalkState, heard: Heard) -> Outcome:
    """Return the end of the remark, said by itself."""
    return Outcome((CommandHeard(command=END, heard=heard),), (Reply("answer", END),))


def inline(state: WalkState, meant: Interpretation, heard: Heard) -> Outcome | None:
    """Return the remark of "remark, ..." said in one breath: no phrase, but plainly a remark.

    None where it is none.
    """
    words = heard.free_text.split(maxsplit=1)
    if meant.act != "refused" or len(words) != 2:
        return None
    begun = language_of(state.sheet.lexicon).commands.get("remark", ())
    if words[0].strip(",.:").lower() not in begun:
        return None
    return _logged(state, state.named, heard, text=words[1])


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
