"""Dictation gives way to what is said to the walk."""

from __future__ import annotations

import threading

from voicelog.hearing.turns import Turns


def test_who_goes_first_comes_in_between_two_steps() -> None:
    """One that goes first has its turn before dictation is over, and alone; then dictation goes on."""
    turns, order = Turns(), list[str]()
    begun = threading.Event()

    def dictate() -> None:
        with turns.after():
            begun.set()
            while "first" not in order:
                turns.give_way()
            order.append("dictated")

    thread = threading.Thread(target=dictate, daemon=True)
    thread.start()
    assert begun.wait(10)
    with turns.first():
        order.append("first")
        assert order == ["first"]
    thread.join(10)
    assert order == ["first", "dictated"] and not thread.is_alive()


def test_a_turn_is_given_back_whatever_happens() -> None:
    """After an error in a turn the next one can be taken, of either kind."""
    turns = Turns()
    for turn in (turns.first, turns.after, turns.first):
        try:
            with turn():
                raise RuntimeError
        except RuntimeError:
            pass
    with turns.after():
        turns.give_way()
