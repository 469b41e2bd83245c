"""The forms of the review screen: why, what instead, and the signature.

A form only collects what a person types; whether it is allowed is decided by
:mod:`voicelog.walk.review`, and what it refuses is shown in the form with what to do. Every form
works by keyboard alone: Enter goes on, Tab moves, Escape leaves without a change.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from rich.text import Text
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Label, OptionList, RadioButton, RadioSet, Static
from textual.widgets.option_list import Option

from voicelog.errors import VoicelogError, WalkError
from voicelog.screens.outside_text import visible
from voicelog.walk.events import Claim
from voicelog.walk.review import DECISIONS, MEANINGS, Decision, Phrases, Role
from voicelog.walk.wording import grade, show_claim

Attempt = Callable[[dict[str, str]], None]
"""Does what the form is for; raises WalkError when it is not allowed."""


def refusal(error: VoicelogError) -> str:
    """Return an error as one line: what, and what to do."""
    remedy = visible(error.remedy)
    # Only the first letter: names and PINs keep their capitals.
    tail = f". {remedy[:1].upper()}{remedy[1:]}." if remedy else "."
    return f"{visible(error.what)}{tail}"


class Form(ModalScreen[bool]):
    """A form over the review. Its result is whether something was done."""

    AUTO_FOCUS = ""
    # Each form says itself where it begins: what is typed meanwhile must not land in another field.

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave", "leave without a change")]

    def action_leave(self) -> None:
        """Close the form and change nothing."""
        self.dismiss(False)

    def say(self, text: str) -> None:
        """Show what is wrong."""
        wrong = self.query_one("#wrong", Static)
        wrong.update(Text(visible(text)))
        # Below the screen's edge it would not be seen, and the form would seem to do nothing.
        self.query_one(".form").scroll_end(animate=False)


def field(name: str, value: str = "", hint: str = "", *, secret: bool = False) -> Horizontal:
    """Return a line to fill in, with its name before it; what is typed in a secret one is not shown."""
    line = Input(value=value, placeholder=hint, id=name, compact=True, select_on_focus=False, password=secret)
    return Horizontal(Label(name, classes="name"), line, classes="field")


class WhyForm(Form):
    """Asks for a name and, where one is needed, a reason."""

    def __init__(self, title: str, by: str, attempt: Attempt, *, reason: str) -> None:
        """Take what is to be done; ``reason`` is the hint of the reason's line."""
        super().__init__()
        self._title, self._by, self._attempt, self._hint = title, by, attempt, reason

    def compose(self) -> ComposeResult:
        """Lay the form out."""
        with Vertical(classes="form"):
            yield Static(Text(self._title), classes="title")
            yield field("name", self._by, "your name")
            yield field("reason", hint=self._hint)
            yield Static("", id="wrong")
            yield Static("Enter goes on   Escape leaves without a change", classes="hint")

    def on_mount(self) -> None:
        """Start where something is missing."""
        self.query_one("#reason" if self._by else "#name", Input).focus()

    @on(Input.Submitted, "#name")
    def _to_reason(self) -> None:
        self.query_one("#reason", Input).focus()

    @on(Input.Submitted, "#reason")
    def _done(self) -> None:
        try:
            self._attempt({i.id or "": i.value for i in self.query(Input)})
        except WalkError as error:
            self.say(refusal(error))
        else:
            self.dismiss(True)


@dataclass(frozen=True, slots=True)
class Correction:
    """What was chosen in a :class:`CorrectForm`."""

    claim: Claim
    by: str
    reason: str


class CorrectForm(Form):
    """A typed line with near phrases below it, then name and reason."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("down", "to_list", "to the phrases", show=False)]

    def __init__(
        self, phrases: Phrases, about: Claim, stop_id: str, by: str, attempt: Callable[[Correction], None]
    ) -> None:
        """Take the entry's claim; ``attempt`` raises WalkError when the correction is not allowed."""
        super().__init__()
        self._phrases, self._about, self._stop, self._by = phrases, about, stop_id, by
        self._attempt = attempt
        self._claims: tuple[Claim, ...] = ()
        self._offered: tuple[str, ...] = ()

    def compose(self) -> ComposeResult:
        """Lay the form out."""
        sheet = self._phrases.sheet
        with Vertical(classes="form"):
            yield Static(Text(f"Correct: {visible(show_claim(self._about, sheet))}"), classes="title")
            yield field("instead", hint="such as: left lift cylinder dripping; right; 3/4 in")
            yield OptionList(id="near", compact=True)
            yield Static("", id="means")
            yield field("name", self._by, "your name")
            yield field("reason", hint="why it is to be corrected")
            yield Static("", id="wrong")
            yield Static(
                "Down takes a phrase   Enter goes on   Escape leaves without a change", classes="hint"
            )

    def on_mount(self) -> None:
        """Offer the point's own phrases and begin with the typed line."""
        self._offer("")
        self.query_one("#instead", Input).focus()

    def action_to_list(self) -> None:
        """Go from the typed line to the phrases below it."""
        if self.query_one("#instead", Input).has_focus and self._offered:
            self.query_one("#near", OptionList).focus()

    @on(Input.Changed, "#instead")
    def _typed(self, event: Input.Changed) -> None:
        try:
            self._claims = (
                self._phrases.claims(event.value, self._stop, self._about) if event.value.strip() else ()
            )
        except WalkError:
            self._claims = ()
        self._offer(event.value)

    def _offer(self, typed: str) -> None:
        """Show what the words mean; where they are ambiguous the meanings are what is offered."""
        sheet = self._phrases.sheet
        if len(self._claims) > 1:
            self._offered = tuple(show_claim(c, sheet) for c in self._claims)
            means = "These words can mean more than one thing: choose one above."
        else:
            self._offered = self._phrases.near(typed, self._about)
            means = "".join(f"Means: {show_claim(c, sheet)} ({grade(c, sheet)})" for c in self._claims)
        near = self.query_one("#near", OptionList)
        near.clear_options()
        near.add_options(Option(Text(visible(phrase))) for phrase in self._offered)
        near.highlighted = 0 if self._offered else None
        self.query_one("#means", Static).update(Text(visible(means)))
        self.say("")

    @on(OptionList.OptionSelected, "#near")
    def _take(self, event: OptionList.OptionSelected) -> None:
        line = self.query_one("#instead", Input)
        if len(self._claims) > 1:
            self._claims = (self._claims[event.option_index],)
            with self.prevent(Input.Changed):
                line.value = self._offered[event.option_index]
            self._offer(line.value)
            self._after_what()
            return
        line.value = self._offered[event.option_index]
        line.focus()
        line.action_end()

    @on(Input.Submitted, "#instead")
    def _after_what(self) -> None:
        if len(self._claims) == 1:
            self.query_one("#reason" if self._by else "#name", Input).focus()
            return
        try:
            self._phrases.claims(self.query_one("#instead", Input).value, self._stop, self._about)
        except WalkError as error:
            self.say(refusal(error))
        else:
            self.query_one("#near", OptionList).focus()

    @on(Input.Submitted, "#name")
    def _after_name(self) -> None:
        self.query_one("#reason", Input).focus()

    @on(Input.Submitted, "#reason")
    def _done(self) -> None:
        if len(self._claims) != 1:
            self.query_one("#instead", Input).focus()
            self._after_what()
            return
        by, reason = (self.query_one(f"#{name}", Input).value for name in ("name", "reason"))
        try:
            self._attempt(Correction(self._claims[0], by, reason))
        except WalkError as error:
            self.say(refusal(error))
        else:
            self.dismiss(True)


@dataclass(frozen=True, slots=True)
class Signing:
    """What was filled in on a :class:`SignForm`."""

    by: str
    role: Role
    decision: Decision
    reason: str
    override: str = ""
    """Why the decision is against the local policy."""
    pin: str = ""


class Choice(RadioButton):
    """A choice whose state can be read without colour: ``(x)`` or ``( )``."""

    def render(self) -> Content:
        """Draw the sign and the words."""
        sign = "x" if self.value else " "
        return Content.assemble((f"({sign}) {self.label.plain} ", self.get_visual_style("toggle--label")))


_ROLES: tuple[Role, ...] = ("officer", "operator")

MOST_LISTED = 5
"""Of what speaks against a decision, worst first: a longer list would push the form out of sight."""


class SignForm(Form):
    """The signature: name, role, decision, reason and PIN. No decision is chosen beforehand."""

    def __init__(
        self,
        shown: str,
        against: tuple[str, ...],
        by: str,
        attempt: Callable[[Signing], None],
        *,
        breaches: tuple[str, ...] = (),
        pins: bool = False,
    ) -> None:
        """Take what is signed and what speaks against "in service", in words.

        ``breaches`` are what the local policy asks, in words; ``pins`` whether a PIN is needed.
        """
        super().__init__()
        self._shown, self._against, self._by, self._attempt = shown, against, by, attempt
        self._breaches, self._pins = breaches, pins

    def compose(self) -> ComposeResult:
        """Lay the form out."""
        with VerticalScroll(classes="form", can_focus=False) as box:
            # On the border, which stays in sight where the form is longer than the screen.
            box.border_subtitle = "Tab moves   space chooses   Enter on Sign signs   Escape leaves"
            box.border_title = "Sign the record"
            yield Static(Text(visible(self._shown)))
            if self._against:
                more = len(self._against) - MOST_LISTED
                tail = f"; and {more} more" if more > 0 else ""
                listed = visible("; ".join(self._against[:MOST_LISTED]) + tail)
                yield Static(Text(f"Needs a reason to be in service: {listed}"), id="against")
            for breach in self._breaches[:MOST_LISTED]:
                yield Static(Text(f"Local policy: {visible(breach)}"), classes="policy")
            if (others := len(self._breaches) - MOST_LISTED) > 0:
                words = f"Local policy: and {others} more; each is told with its defect, and all are printed"
                yield Static(Text(words), classes="policy")
            yield field("name", self._by, "your name")
            with Horizontal(classes="field role"):
                yield Label("role", classes="name")
                with RadioSet(id="role", compact=True):
                    for role in _ROLES:
                        yield Choice(f"{role}, {MEANINGS[role]}", value=role == "officer", compact=True)
            with Horizontal(classes="field decision"):
                yield Label("decision", classes="name")
                with RadioSet(id="decision", compact=True):
                    for decision in DECISIONS:
                        yield Choice(decision, compact=True)
            yield field("reason", hint="why; may be empty where none is needed")
            if self._breaches:
                yield field("override", hint="why against the local policy, where it is; it is printed")
            if self._pins:
                yield field("pin", hint="your PIN", secret=True)
            else:
                yield Static(Text("Nobody is on record: this is not signed with a key."), classes="hint")
            with Horizontal(classes="field"):
                yield Label("", classes="name")
                yield Button(Content("[ Sign ]"), id="sign", compact=True)
            yield Static("", id="wrong")

    def on_mount(self) -> None:
        """Begin with the name, or with the decision when the name is known."""
        (self.query_one("#decision", RadioSet) if self._by else self.query_one("#name", Input)).focus()

    @on(RadioSet.Changed, "#role")
    def _role_chosen(self, event: RadioSet.Changed) -> None:
        # An operator says that the walk was done; the decision is the officer's.
        self.query_one("#decision", RadioSet).disabled = _ROLES[event.index] == "operator"

    @on(Input.Submitted)
    def _next(self) -> None:
        self.focus_next()

    @on(Button.Pressed, "#sign")
    def _sign(self) -> None:
        role = _ROLES[max(self.query_one("#role", RadioSet).pressed_index, 0)]
        chosen = self.query_one("#decision", RadioSet).pressed_index
        decision: Decision = DECISIONS[chosen] if role == "officer" and chosen >= 0 else "none"
        given = {line.id or "": line.value for line in self.query(Input)}
        made = Signing(
            given["name"], role, decision, given["reason"], given.get("override", ""), given.get("pin", "")
        )
        try:
            self._attempt(made)
        except VoicelogError as error:
            self.say(refusal(error))
        else:
            self.dismiss(True)
