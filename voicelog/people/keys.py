"""Keys: Ed25519 (RFC 8032), each private key in a box that only its PIN opens.

The box is the private key under ChaCha20-Poly1305 (RFC 8439), with a key made from the PIN by
scrypt (RFC 7914). All of it is the library ``cryptography``. A PIN is short: it keeps a colleague
from signing in another's name at the tablet. It does not withstand a person who has taken the
disk and has time.
"""

from __future__ import annotations

import hashlib
import json
import os
import unicodedata
from dataclasses import dataclass, field
from itertools import pairwise

from cryptography.exceptions import InvalidSignature, InvalidTag
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

from voicelog.errors import PersonError

SHORTEST_PIN = 6
"""NIST SP 800-63B, 5.1.1.1 (from memory): six characters where it is chosen at random."""
_LONGEST_PIN = 128
_FEWEST_GUESSES = 10_000
"""A PIN that is guessed sooner is refused. With an hour between tries that is more than a year; common
practice, no published source. NIST SP 800-63B, 5.1.1.2 (from memory) asks that common ones be refused."""
_SEAL = b"voicelog seal 1\n"
"""Put before what is sealed, so that a seal can't be taken for a signature over anything else."""


class WrongPin(Exception):
    """The PIN does not open the box."""


@dataclass(frozen=True, slots=True)
class Cost:
    """What one try of a PIN costs: memory is 128 x n x r bytes."""

    n: int = 2**17
    """OWASP Password Storage Cheat Sheet: scrypt with n of 2^17, r of 8 and p of 1 at least."""
    r: int = 8
    p: int = 1


@dataclass(frozen=True, slots=True)
class NewKey:
    """A key that was just made."""

    public_key: str
    box: str = field(repr=False)
    """The locked private key, as text."""

    @property
    def key_id(self) -> str:
        """SHA-256 of the public key, 64 hex digits."""
        return key_id_of(self.public_key)

    @property
    def box_sha256(self) -> str:
        """SHA-256 of the box's text."""
        return hashlib.sha256(self.box.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Signer:
    """A person whose PIN was given: can seal in their name until it is let go."""

    name: str
    key_id: str
    _private: Ed25519PrivateKey = field(repr=False)

    def seal(self, digest: str) -> str:
        """Return the signature over a hash in hex, 128 hex digits."""
        return self._private.sign(_SEAL + digest.encode("ascii")).hex()


def key_id_of(public_key: str) -> str:
    """Return the id of a public key given in hex; ValueError when it is not hex."""
    return hashlib.sha256(bytes.fromhex(public_key)).hexdigest()


def check_pin(pin: str) -> str:
    """Return a new PIN as it is used. Raises PersonError when it is too easily guessed."""
    pin = _plain(pin)
    what = None
    if len(pin) < SHORTEST_PIN:
        what = f"this PIN is too short: it needs at least {SHORTEST_PIN} characters"
    elif len(pin) > _LONGEST_PIN:
        what = f"this PIN is too long: at most {_LONGEST_PIN} characters"
    elif _in_a_row(pin):
        what = "this PIN is guessed first: one character over and over, or characters in a row"
    elif guesses(pin) < _FEWEST_GUESSES:
        what = "this PIN is among the first that are guessed: a known one, a pattern of keys, or repeated"
    if what is not None:
        raise PersonError(what, remedy="choose another, and write it nowhere")
    return pin


def guesses(pin: str) -> int:
    """Return about how many guesses a PIN takes, as the library zxcvbn tells it."""
    from zxcvbn import zxcvbn

    # Longer ones take it long, and are not guessed for their length.
    return int(zxcvbn(pin[:40])["guesses"])


def _in_a_row(pin: str) -> bool:
    steps = {ord(later) - ord(earlier) for earlier, later in pairwise(pin)}
    return len(steps) == 1 and steps <= {-1, 0, 1}


def make_key(pin: str, cost: Cost) -> NewKey:
    """Return a new key, its private half locked with ``pin``. Raises PersonError for a poor PIN."""
    private = Ed25519PrivateKey.generate()
    public = private.public_key().public_bytes_raw()
    salt, nonce = os.urandom(16), os.urandom(12)
    locking = _locking_key(check_pin(pin), salt, cost)
    sealed = ChaCha20Poly1305(locking).encrypt(nonce, private.private_bytes_raw(), public)
    box = {
        "cipher": "chacha20-poly1305",
        "kdf": "scrypt",
        "n": cost.n,
        "nonce": nonce.hex(),
        "p": cost.p,
        "r": cost.r,
        "salt": salt.hex(),
        "sealed": sealed.hex(),
    }
    return NewKey(public.hex(), json.dumps(box, sort_keys=True, separators=(",", ":")))


def open_box(box: str, public_key: str, pin: str) -> Ed25519PrivateKey:
    """Return the private key of ``public_key``. Raises WrongPin.

    ``box`` must have been checked against its SHA-256 on record.
    """
    parts = json.loads(box)
    cost = Cost(parts["n"], parts["r"], parts["p"])
    locking = _locking_key(_plain(pin), bytes.fromhex(parts["salt"]), cost)
    try:
        raw = ChaCha20Poly1305(locking).decrypt(
            bytes.fromhex(parts["nonce"]), bytes.fromhex(parts["sealed"]), bytes.fromhex(public_key)
        )
    except InvalidTag as error:
        raise WrongPin from error
    return Ed25519PrivateKey.from_private_bytes(raw)


def seal_holds(public_key: str, digest: str, signature: str) -> bool:
    """Return whether ``signature`` is this key's seal over the hash ``digest``; all in hex."""
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_key))
        # Hex has more than one spelling, and only one is on record.
        if signature != signature.lower() or len(signature) != 128:
            return False
        key.verify(bytes.fromhex(signature), _SEAL + digest.encode("ascii"))
    except (ValueError, InvalidSignature):
        return False
    return True


def _plain(pin: str) -> str:
    # NIST SP 800-63B, 5.1.1.2: normalise before hashing (from memory). Bytes that are no text, as a
    # terminal may give them, are left out: with them it could not be hashed.
    return unicodedata.normalize("NFKC", pin).encode("utf-8", "replace").decode("utf-8")


def _locking_key(pin: str, salt: bytes, cost: Cost) -> bytes:
    return Scrypt(salt=salt, length=32, n=cost.n, r=cost.r, p=cost.p).derive(pin.encode("utf-8"))
