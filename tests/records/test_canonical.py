"""Canonical JSON against published values of RFC 8785, which a hash over an event rests on."""

from __future__ import annotations

import json
import struct

import pytest

from voicelog.errors import RecordError
from voicelog.records.chain import canonical, read_json

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
