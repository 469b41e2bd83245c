"""Keys: the library's Ed25519, scrypt and ChaCha20-Poly1305 are those published, and boxes hold."""

from __future__ import annotations

import json

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.people.making import CHEAP
from voicelog.errors import PersonError
from voicelog.people.keys import (
    Cost,
    Signer,
    WrongPin,
    check_pin,
    key_id_of,
    make_key,
    open_box,
    seal_holds,
)
from voicelog.walk.wording import show_key

# RFC 8032, section 7.1, tests 1 to 3 (from memory): secret key, public key, message, signature.
ED25519 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
        "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
        "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
]


@pytest.mark.parametrize(("secret", "public", "message", "signature"), ED25519)
def test_signatures_are_those_of_rfc_8032(secret: str, public: str, message: str, signature: str) -> None:
    """The published keys give the published signatures, and these hold."""
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert key.public_key().public_bytes_raw().hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == signature
    Ed25519PublicKey.from_public_bytes(bytes.fromhex(public)).verify(
        bytes.fromhex(signature), bytes.fromhex(message)
    )


# RFC 7914, section 12 (from memory): password, salt, cost, the 64 bytes derived.
SCRYPT = [
    (
        b"",
        b"",
        Cost(16, 1, 1),
        "77d6576238657b203b19ca42c18a0497f16b4844e3074ae8dfdffa3fede21442"
        "fcd0069ded0948f8326a753a0fc81f17e8d3e0fb2e0d3628cf35e20c38d18906",
    ),
    (
        b"password",
        b"NaCl",
        Cost(1024, 8, 16),
        "fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162"
        "2eaf30d92e22a3886ff109279d9830dac727afb94a83ee6d8360cbdfa2cc0640",
    ),
    (
        b"pleaseletmein",
        b"SodiumChloride",
        Cost(16384, 8, 1),
        "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
        "d5432955613f0fcf62d49705242a9af9e61e85dc0d651e40dfcf017b45575887",
    ),
]


@pytest.mark.parametrize(("password", "salt", "cost", "derived"), SCRYPT)
def test_scrypt_is_that_of_rfc_7914(password: bytes, salt: bytes, cost: Cost, derived: str) -> None:
    """The published passwords and salts give the published keys."""
    assert Scrypt(salt=salt, length=64, n=cost.n, r=cost.r, p=cost.p).derive(password).hex() == derived


def test_a_try_of_a_pin_costs_what_is_advised() -> None:
    """OWASP's Password Storage Cheat Sheet: scrypt with n of 2^17, r of 8, p of 1 (from memory)."""
    assert Cost() == Cost(131_072, 8, 1)


@settings(max_examples=30, deadline=None)
@given(pin=st.text(min_size=6, max_size=20), other=st.text(max_size=20))
def test_only_its_pin_opens_a_box(pin: str, other: str) -> None:
    """The PIN it was made with opens a box, and any other does not."""
    try:
        made = make_key(pin, CHEAP)
    except (PersonError, UnicodeEncodeError):
        return  # not a PIN
    private = open_box(made.box, made.public_key, pin)
    assert private.public_key().public_bytes_raw().hex() == made.public_key
    if check_pin(pin) != other:
        with pytest.raises(WrongPin):
            open_box(made.box, made.public_key, pin + "x")


def test_a_box_does_not_show_its_key() -> None:
    """Neither the private key nor the PIN is in the box, and two boxes of one PIN differ throughout."""
    made, again = make_key("482913", CHEAP), make_key("482913", CHEAP)
    private = open_box(made.box, made.public_key, "482913").private_bytes_raw().hex()
    assert private not in made.box and "482913" not in made.box.replace(made.public_key, "")
    first, second = json.loads(made.box), json.loads(again.box)
    assert {name for name in first if first[name] != second[name]} == {"nonce", "salt", "sealed"}


@pytest.mark.parametrize("part", ["n", "nonce", "salt", "sealed"])
def test_an_altered_box_does_not_open(part: str) -> None:
    """A box is bound to its cost, salt, nonce and public key."""
    made = make_key("482913", CHEAP)
    box = json.loads(made.box)
    value = box[part]
    box[part] = value * 2 if isinstance(value, int) else ("0" if value[0] != "0" else "1") + value[1:]
    with pytest.raises(WrongPin):
        open_box(json.dumps(box), made.public_key, "482913")
    with pytest.raises(WrongPin):
        open_box(made.box, make_key("482913", CHEAP).public_key, "482913")


@pytest.mark.parametrize(
    ("pin", "told"),
    [
        ("12345", "too short"),
        ("", "too short"),
        ("x" * 129, "too long"),
        ("111111", "guessed first"),
        ("123456", "guessed first"),
        ("987654", "guessed first"),
        ("abcdef", "guessed first"),
    ],
)
def test_a_poor_pin_is_refused(pin: str, told: str) -> None:
    """Too short, or what everybody tries first (NIST SP 800-63B, 5.1.1.2, from memory)."""
    with pytest.raises(PersonError, match=told):
        make_key(pin, CHEAP)


def test_a_seal_holds_for_its_key_and_hash_only() -> None:
    """Another key, another hash, another spelling or an altered byte does not hold."""
    made, other = make_key("482913", CHEAP), make_key("482913", CHEAP)
    signer = Signer("M. Ruiz", made.key_id, open_box(made.box, made.public_key, "482913"))
    digest = "ab" * 32
    seal = signer.seal(digest)
    assert seal_holds(made.public_key, digest, seal)
    assert not seal_holds(other.public_key, digest, seal)
    assert not seal_holds(made.public_key, "ac" * 32, seal)
    for altered in (seal.upper(), seal[:-2], seal + "00", "", "no hex", seal[:-1] + "f0"[seal[-1] == "f"]):
        assert not seal_holds(made.public_key, digest, altered)
    assert not seal_holds("00", digest, seal)
    assert "private" not in repr(signer)


def test_a_key_is_shown_by_its_first_digits() -> None:
    """People compare keys by sixteen digits in fours; the id is the SHA-256 of the public key."""
    # SHA-256 of 32 zero bytes, from coreutils: head -c 32 /dev/zero | sha256sum
    zeros = "66687aadf862bd776c8fc18b8e9f8e20089714856ee233b3902a591d0d5f2925"
    assert key_id_of("00" * 32) == zeros
    assert show_key(zeros) == "6668 7aad f862 bd77"
