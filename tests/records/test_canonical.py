"""Canonical JSON against published values of RFC 8785, which a hash over an event rests on."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import pytest

from tests.records.making import Ticking
from voicelog.errors import RecordError
from voicelog.records.chain import FIRST_PREVIOUS, canonical, read_json
from voicelog.records.store import Store

SAMPLE = r"""{
  "numbers": [1E30,4.50,6,2e-3,0.000000000000000000000000001],
  "escaping": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "other":  [null, true, false]
}"""
SAMPLE_HEX = """
7b 22 65 73 63 61 70 69 6e 67 22 3a 22 e2 82 ac 24 5c 75 30 30 30 66 5c 6e 41 27 42 5c 22 5c 5c
5c 5c 5c 22 2f 22 2c 22 6e 75 6d 62 65 72 73 22 3a 5b 31 65 2b 33 30 2c 34 2e 35 2c 36 2c 30 2e
30 30 32 2c 31 65 2d 32 37 5d 2c 22 6f 74 68 65 72 22 3a 5b 6e 75 6c 6c 2c 74 72 75 65 2c 66 61
6c 73 65 5d 7d
"""
"""Input and bytes of the repository of the RFC's author, github.com/cyberphone/json-canonicalization
(its README, read there)."""

NUMBERS = [
    # Of testdata/README.md of the same repository (read there).
    ("4340000000000001", "9007199254740994"),
    ("4340000000000002", "9007199254740996"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    # Of RFC 8785, appendix B, as quoted in tests of a library that follows it (second hand).
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("ffefffffffffffff", "-1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
]


def test_the_sample_gives_the_published_bytes() -> None:
    """Order of names, numbers, escapes and literals are those of the reference, byte for byte."""
    assert canonical(read_json(SAMPLE)) == bytes.fromhex(SAMPLE_HEX.replace("\n", " "))


@pytest.mark.parametrize(("bits", "text"), NUMBERS)
def test_numbers_are_written_as_published(bits: str, text: str) -> None:
    """Each double, given by its bits, has the one spelling that ECMAScript gives it, and reads back."""
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical([number]) == f"[{text}]".encode()
    assert canonical(read_json(f"[{text}]")) == f"[{text}]".encode()


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000", "fff0000000000000"])
def test_what_json_cannot_hold_is_refused(bits: str) -> None:
    """Not-a-number and the infinities are an error (RFC 8785, section 3.2.2.3)."""
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    with pytest.raises(RecordError):
        canonical([number])


def test_canonical_text_is_json() -> None:
    """Any reader of JSON reads the same values from it (the standard library's is another program)."""
    assert json.loads(canonical(read_json(SAMPLE))) == json.loads(SAMPLE)


SORTED = [
    # RFC 8785, section 3.2.3 (from memory): names in the order of their UTF-16 code units.
    ("\r", "Carriage Return"),
    ("1", "One"),
    ("\u0080", "Control"),
    ("\u00f6", "Latin Small Letter O With Diaeresis"),
    ("\u20ac", "Euro Sign"),
    ("\U0001f600", "Emoji: Grinning Face"),
    ("\ufb33", "Hebrew Letter Dalet With Dagesh"),
]


def test_names_are_sorted_as_published() -> None:
    """By UTF-16: what lies outside the basic plane comes before the end of that plane."""
    data = canonical(dict(sorted(SORTED)))
    assert list(json.loads(data).items()) == SORTED


@pytest.mark.parametrize("text", ["\ud800", "x\udfff", "\udc00\ud800"])
def test_half_a_surrogate_pair_is_refused(text: str) -> None:
    """RFC 8785, section 3.2.2.2 (from memory): lone surrogates are an error, as value and as name."""
    for data in ([text], {text: 1}):
        with pytest.raises((RecordError, ValueError)):
            canonical(data)


def test_how_marks_are_composed_is_kept() -> None:
    """RFC 8785, section 3.1 (from memory): text is kept as it is, and not normalised."""
    assert canonical(["\u00e9"]) != canonical(["e\u0301"])


@pytest.mark.parametrize("number", [2**53, -(2**53), 10**400])
def test_a_whole_number_that_no_double_holds_is_refused(number: int) -> None:
    """What would be written as another number than it is (RFC 8785, appendix D, from memory)."""
    with pytest.raises(RecordError):
        canonical([number])


def test_an_empty_chain_has_no_head(tmp_path: Path) -> None:
    """A walk that is not there has 64 zeros in place of a hash, and nothing to prove."""
    with Store.open(tmp_path / "data", clock=Ticking()) as store:
        assert store.head("nothing") == FIRST_PREVIOUS == "0" * 64
        assert store.verify("nothing") == ("There are no events of walk nothing in this record.",)
        assert store.verify_all() == ()
