"""How a walk's facts are worded; one place for every view and report."""

from voicelog.meaning.wording import say_claim, say_what, show_limit, show_quantity, show_value

__all__ = ["say_claim", "say_what", "show_limit", "show_quantity", "show_value"]
