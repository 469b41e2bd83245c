"""The bottom of the walk screen: what comes next, what was heard, logged and said back."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text
from textual.app import RenderResult

from voicelog.screens import palette
from voicelog.screens.outside_text import visible
from voicelog.screens.shown import Shown
from voicelog.screens.walk_facts import Trouble, claim_line, clock, doubt_line, next_point
from voicelog.screens.widgets.part import Part
from voicelog.walk.replies import Reply
from voicelog.walk.state import Entry, WalkState


def _labelled(label: str, content: Text, style: str = palette.QUIET) -> RenderableType:
    row = Table.grid(expand=True)
    row.add_column(width=8)
    row.add_column(ratio=1)
    row.add_row(Text(label, style=style), content)
    return row


class LastPanel(Part):
    """The next point, what was last heard, what was logged last."""

    DEFAULT_CSS = f"""
    LastPanel {{
        height: auto; max-height: 6; padding: 0 1;
        border-top: solid {palette.RULE};
    }}
    """

    def show(self, shown: Shown) -> None:
        """Take what is to be shown; the height follows it."""
        self.shown = shown
        self.refresh(layout=True)

    def render(self) -> RenderResult:
        """Draw the panel."""
        if self.shown is None:
            return Text("")
        name, look_for = next_point(self.shown.state)
        coming = Text.assemble((name, f"bold {palette.SKY_BLUE}"), "  ", (look_for, palette.TEXT))
        return Group(
            _labelled("next", coming),
            _labelled("heard", _heard(self.shown)),
            _labelled("logged", _logged(self.shown)),
        )


def _heard(shown: Shown) -> Text:
    heard = shown.heard
    if shown.update.partial:
        # Still being spoken: what comes of it is not known yet, and it does not look like an answer.
        saying = Text(visible(shown.update.partial), style=f"italic {palette.SKY_BLUE}")
        saying.append(" ...", palette.QUIET)
        saying.truncate(200, overflow="ellipsis")
        saying.no_wrap, saying.overflow = True, "ellipsis"
        return saying
    if heard is None:
        return Text("nothing yet", style=palette.QUIET)
    how = "" if heard.how == "speech" else "  (typed)"
    words = visible(heard.text)
    text = Text(f'"{words}"' if words else "no words")
    text.append(how, palette.QUIET)
    text.truncate(200, overflow="ellipsis")
    text.no_wrap, text.overflow = True, "ellipsis"
    return text


def _logged(shown: Shown) -> Text:
    state = shown.state
    entry = state.entries.get(state.last_entry or "") or _last_that_counts(state)
    if entry is None:
        return Text("nothing yet", style=palette.QUIET)
    text = Text.assemble((clock(entry.at), palette.QUIET), "  ")
    if entry.in_doubt:
        text.append("in doubt: ", f"bold {palette.YELLOW}")
        text.append(doubt_line(entry, state.sheet))
    else:
        text.append(claim_line(entry.claim, state.sheet))
    text.no_wrap, text.overflow = True, "ellipsis"
    return text


def _last_that_counts(state: WalkState) -> Entry | None:
    """Return what was logged last; after a change of stop it is no longer what "disregard" takes back."""
    counting = [e for e in state.entries.values() if e.status == "standing" or e.in_doubt]
    return counting[-1] if counting else None


class ReplyPanel(Part):
    """What was said back, each reply with its kind as a word; trouble stays until put away."""

    DEFAULT_CSS = f"""
    ReplyPanel {{
        height: auto; min-height: 2; max-height: 9; padding: 0 1;
        background: {palette.RAISED};
    }}
    """

    early_trouble: Trouble | None = None
    """What failed before the first update came."""

    def show(self, shown: Shown) -> None:
        """Take what is to be shown; the height follows it."""
        self.shown = shown
        self.refresh(layout=True)

    def show_trouble(self, met: Trouble | None) -> None:
        """Show a trouble while there is nothing else to show."""
        self.early_trouble = met
        self.refresh(layout=True)

    def render(self) -> RenderResult:
        """Draw the replies."""
        shown = self.shown
        if shown is None and self.early_trouble is not None:
            return _trouble(self.early_trouble)
        if shown is None:
            return Text("Starting. Nothing has been heard yet.", style=palette.QUIET)
        lines: list[RenderableType] = []
        if shown.trouble is not None:
            lines.append(_trouble(shown.trouble))
        lines.extend(_reply(reply) for reply in shown.replies)
        if shown.sound_over and not shown.keyboard and shown.trouble is None:
            note = "The sound has ended. Typing (/) and the keys still work."
            lines.append(Text(note, style=palette.QUIET))
        return Group(*lines) if lines else Text("Nothing said back yet.", style=palette.QUIET)


def _reply(reply: Reply) -> RenderableType:
    word = reply.kind.upper()
    row = Table.grid(expand=True, padding=(0, 1, 0, 0))
    row.add_column(width=len(word) + 2)
    row.add_column(ratio=1)
    style = palette.label(palette.REPLY_COLOUR[reply.kind])
    row.add_row(Text(f" {word} ", style=style), Text(visible(reply.text), style="bold"))
    return row


def _trouble(trouble: Trouble) -> RenderableType:
    row = Table.grid(expand=True, padding=(0, 1, 0, 0))
    row.add_column(width=9)
    row.add_column(ratio=1)
    lead = f"{trouble.where}: " if trouble.where else ""
    text = Text(f"{lead}{trouble.what}", style="bold")
    if trouble.remedy:
        text.append(f"\nWhat to do: {trouble.remedy}")
    text.append("  (Esc puts this away)", palette.QUIET)
    row.add_row(Text(" TROUBLE ", style=palette.label(palette.REPLY_COLOUR["trouble"])), text)
    return row
