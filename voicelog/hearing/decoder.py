"""Whisper's text decoder in NumPy, with a key/value cache and many beams at once.

Shapes: B rows, N new tokens, T encoded frames (20 ms each), H heads of D, width W = H * D,
V vocabulary. Weights are in eight bits (:mod:`voicelog.hearing.matrix`), the rest in float32.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from voicelog.hearing.matrix import Array, Matrix
from voicelog.hearing.weights import Floats

Tokens = npt.NDArray[np.int64]


def _erf(x: Array) -> Array:
    """Error function to 1.5e-7 (Abramowitz and Stegun 1964, formula 7.1.26)."""
    t = 1.0 / (1.0 + 0.3275911 * np.abs(x))
    poly = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    return np.asarray(np.sign(x) * (1.0 - poly * np.exp(-x * x)), np.float32)


def _gelu(x: Array) -> Array:
    return np.float32(0.5) * x * (np.float32(1.0) + _erf(x * np.float32(1 / math.sqrt(2.0))))


def _softmax(x: npt.NDArray[np.floating]) -> Array:
    e = np.exp(x - x.max(-1, keepdims=True))
    return np.asarray(e / e.sum(-1, keepdims=True), np.float32)


class _Linear:
    def __init__(self, weights: dict[str, Floats], name: str) -> None:
        self.weight = Matrix(weights[name + "/weight"])
        self.bias = weights[name + "/bias"].astype(np.float32)

    def __call__(self, x: Array) -> Array:
        flat = self.weight(x.reshape(-1, x.shape[-1]))
        flat += self.bias
        return flat.reshape(*x.shape[:-1], -1)


class _Norm:
    def __init__(self, weights: dict[str, Floats], name: str) -> None:
        self.gamma = weights[name + "/gamma"].astype(np.float32)
        self.beta = weights[name + "/beta"].astype(np.float32)

    def __call__(self, x: Array) -> Array:
        share = np.float32(1 / x.shape[-1])
        centred = x - np.add.reduce(x, -1, keepdims=True) * share
        variance = np.add.reduce(centred * centred, -1, keepdims=True) * share
        centred /= np.sqrt(variance + np.float32(1e-5))
        centred *= self.gamma
        centred += self.beta
        return np.asarray(centred, np.float32)


class _Layer:
    def __init__(self, weights: dict[str, Floats], name: str) -> None:
        self.self_norm = _Norm(weights, name + "/self_attention/layer_norm")
        self.qkv = _Linear(weights, name + "/self_attention/linear_0")
        self.self_out = _Linear(weights, name + "/self_attention/linear_1")
        self.cross_norm = _Norm(weights, name + "/attention/layer_norm")
        self.cross_q = _Linear(weights, name + "/attention/linear_0")
        self.cross_kv = _Linear(weights, name + "/attention/linear_1")
        self.cross_out = _Linear(weights, name + "/attention/linear_2")
        self.ffn_norm = _Norm(weights, name + "/ffn/layer_norm")
        self.ffn_in = _Linear(weights, name + "/ffn/linear_0")
        self.ffn_out = _Linear(weights, name + "/ffn/linear_1")


@dataclass(frozen=True, slots=True, eq=False)
class Encoding:
    """One utterance as the decoder attends to it: per layer keys (H x D x T) and values (H x T x D)."""

    cross: tuple[tuple[Array, Array], ...]


@dataclass(frozen=True, slots=True, eq=False)
class NextTokens:
    """The distribution over the full vocabulary of the token after each of B rows."""

    logits: Array
    """B x V, up to a constant of each row."""
    log_total: Array
    """B; subtracted from the logits it gives log-probabilities."""

    def log_probability(self, row: int, tokens: Tokens | int) -> Array:
        """Return the log-probabilities (nats) of some tokens in a row."""
        return np.asarray(self.logits[row, tokens] - self.log_total[row])

    def log_probabilities(self, rows: slice) -> Array:
        """Return all log-probabilities (nats) of some rows."""
        return np.asarray(self.logits[rows] - self.log_total[rows, None])


Cache = tuple[tuple[Array, Array], ...]
"""Per layer, keys and values of the tokens so far, each B x H x past x D."""


class Decoder:
    """The decoder's weights, ready for use on any utterance."""

    def __init__(self, weights: dict[str, Floats]) -> None:
        self.heads = int(weights["decoder/num_heads"].item())
        self.embeddings = weights["decoder/embeddings/weight"]
        self.positions = weights["decoder/position_encodings/encodings"].astype(np.float32)
        self.width = self.embeddings.shape[1]
        count = sum(1 for name in weights if name.endswith("/self_attention/linear_0/weight"))
        self.layers = [_Layer(weights, f"decoder/layer_{i}") for i in range(count)]
        self.norm = _Norm(weights, "decoder/layer_norm")
        self.projection = Matrix(weights["decoder/projection/weight"])

    def attend_to(self, encoded: Array) -> Encoding:
        """Prepare an encoder output (T x W) for :meth:`step`."""
        frames, head = len(encoded), self.width // self.heads
        cross = []
        for layer in self.layers:
            keys, values = np.split(layer.cross_kv(encoded), 2, -1)
            cross.append(
                (
                    np.ascontiguousarray(keys.reshape(frames, self.heads, head).transpose(1, 2, 0)),
                    np.ascontiguousarray(values.reshape(frames, self.heads, head).transpose(1, 0, 2)),
                )
            )
        return Encoding(tuple(cross))

    def step(
        self, encoding: Encoding, tokens: Tokens, position: int, cache: Cache | None, deaf: int = 0
    ) -> tuple[Array, Cache]:
        """Feed ``tokens`` (B x N) at ``position``; return hidden states (B x N x W) and the grown cache.

        The last ``deaf`` rows do not hear the sound: what remains is the decoder's own
        expectation of text.
        """
        rows, new = tokens.shape
        heads, head = self.heads, self.width // self.heads
        x = self.embeddings[tokens].astype(np.float32) + self.positions[position : position + new]
        scale = np.float32(1 / math.sqrt(head))
        hearing = rows - deaf
        grown = []
        for number, layer in enumerate(self.layers):
            qkv = layer.qkv(layer.self_norm(x)).reshape(rows, new, 3, heads, head).transpose(2, 0, 3, 1, 4)
            q, k, v = qkv
            if cache is not None:
                k = np.concatenate([cache[number][0], k], 2)
                v = np.concatenate([cache[number][1], v], 2)
            grown.append((k, v))
            scores = (q * scale) @ k.transpose(0, 1, 3, 2)
            if new > 1:
                past = k.shape[2] - new
                scores = np.where(
                    np.triu(np.ones((new, new + past), bool), past + 1), np.float32(-1e9), scores
                )
            mixed = (_softmax(scores) @ v).transpose(0, 2, 1, 3).reshape(rows, new, self.width)
            x = x + layer.self_out(mixed)
            if hearing:
                keys, values = encoding.cross[number]
                # One matrix product a head over all rows and tokens together.
                asked = layer.cross_q(layer.cross_norm(x[:hearing])) * scale
                asked = asked.reshape(hearing * new, heads, head).transpose(1, 0, 2)
                heard = np.ascontiguousarray((_softmax(asked @ keys) @ values).transpose(1, 0, 2))
                x[:hearing] += layer.cross_out(heard.reshape(hearing, new, self.width))
            x = x + layer.ffn_out(_gelu(layer.ffn_in(layer.ffn_norm(x))))
        return x, tuple(grown)

    def next_tokens(self, hidden: Array) -> NextTokens:
        """Return what may come next after hidden states (B x W)."""
        logits = self.projection(self.norm(hidden))
        logits -= np.maximum.reduce(logits, -1, keepdims=True)
        return NextTokens(logits, np.log(np.add.reduce(np.exp(logits), -1)))


def select(cache: Cache, rows: npt.NDArray[np.intp]) -> Cache:
    """Return the cache of the given rows, in that order."""
    return tuple((keys[rows], values[rows]) for keys, values in cache)
