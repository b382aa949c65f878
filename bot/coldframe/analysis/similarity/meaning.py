"""How alike notes are by what they mean: a sentence encoder's forward pass in numpy, and what is made of its vectors.

The network is the six-layer one of W. Wang et al., "MiniLM: deep self-attention distillation for task-agnostic
compression of pre-trained transformers" (2020), tuned for sentences as in N. Reimers and I. Gurevych, "Sentence-BERT"
(2019): token, position and segment embeddings, six post-norm transformer layers with twelve heads, the mean of the last
layer's tokens, unit length. Weights and tokenizer are handed in; reading them from files is for others.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Encoder = Callable[[Sequence[str]], NDArray[np.float32]]
"""Texts in, one unit vector a text out: shape (texts, dimensions)."""
Tokenise = Callable[[str], Sequence[int]]
Array = NDArray[np.float32]
Scores = NDArray[np.float64]

HEADS = 12  # of attention
EPSILON = 1e-12  # added to a variance
BATCH = 16  # texts at a time
LAYER_PART = "encoder.layer."
CENTRED = 0.5
"""Share of the board's mean vector that is taken off: the common topic, which otherwise hides what differs."""


@dataclass(frozen=True, slots=True)
class SentenceEncoder:
    """An encoder made of `weights`, named as in the published model's file, and `tokenise`, text to token numbers.

    `tokenise` adds the marks for start and end itself, so that no text gives an empty list, and cuts at the longest
    length that the model takes.
    """

    weights: Mapping[str, Array]
    tokenise: Tokenise

    def __call__(self, texts: Sequence[str]) -> Array:
        """One unit vector a text, shape (texts, dimensions), whatever the texts' order."""
        tokens = [self.tokenise(text) for text in texts]
        vectors = np.zeros((len(texts), self.weights["embeddings.LayerNorm.bias"].size), dtype=np.float32)
        by_length = sorted(range(len(texts)), key=lambda index: len(tokens[index]))
        for start in range(0, len(texts), BATCH):
            batch = by_length[start : start + BATCH]
            vectors[batch] = self._encode([tokens[index] for index in batch])
        return vectors

    def _encode(self, tokens: Sequence[Sequence[int]]) -> Array:
        longest = max(len(row) for row in tokens)
        numbers = np.array([[*row, *[0] * (longest - len(row))] for row in tokens], dtype=np.int64)
        real = np.array([[place < len(row) for place in range(longest)] for row in tokens])
        states = self._embed(numbers)
        bias = np.where(real[:, None, None, :], np.float32(0), np.float32(-1e9))
        for layer in range(self._layers()):
            states = self._layer(states, bias, f"{LAYER_PART}{layer}.")
        mask = real[:, :, None].astype(np.float32)
        means = (states * mask).sum(axis=1) / mask.sum(axis=1)
        unit: Array = means / np.linalg.norm(means, axis=1, keepdims=True)
        return unit

    def _layers(self) -> int:
        numbers = {name.split(".")[2] for name in self.weights if name.startswith(LAYER_PART)}
        return len(numbers)

    def _embed(self, numbers: NDArray[np.int64]) -> Array:
        words = self.weights["embeddings.word_embeddings.weight"][numbers]
        places = self.weights["embeddings.position_embeddings.weight"][: numbers.shape[1]]
        segment = self.weights["embeddings.token_type_embeddings.weight"][0]
        return self._normalise(words + places + segment, "embeddings.LayerNorm")

    def _layer(self, states: Array, bias: Array, name: str) -> Array:
        attended = self._linear(self._attend(states, bias, name + "attention.self."), name + "attention.output.dense")
        states = self._normalise(attended + states, name + "attention.output.LayerNorm")
        inner = _gelu(self._linear(states, name + "intermediate.dense"))
        return self._normalise(self._linear(inner, name + "output.dense") + states, name + "output.LayerNorm")

    def _attend(self, states: Array, bias: Array, name: str) -> Array:
        rows, places, width = states.shape
        query, key, value = (
            self._linear(states, name + part).reshape(rows, places, HEADS, width // HEADS).transpose(0, 2, 1, 3)
            for part in ("query", "key", "value")
        )
        weights = _softmax(query @ key.transpose(0, 1, 3, 2) / np.float32(np.sqrt(width // HEADS)) + bias)
        mixed: Array = (weights @ value).transpose(0, 2, 1, 3).reshape(rows, places, width)
        return mixed

    def _linear(self, states: Array, name: str) -> Array:
        mapped: Array = states @ self.weights[name + ".weight"].T + self.weights[name + ".bias"]
        return mapped

    def _normalise(self, states: Array, name: str) -> Array:
        centred = states - states.mean(axis=-1, keepdims=True)
        spread = np.sqrt((centred * centred).mean(axis=-1, keepdims=True) + np.float32(EPSILON))
        scaled: Array = centred / spread * self.weights[name + ".weight"] + self.weights[name + ".bias"]
        return scaled


def cosines(vectors: Array) -> Scores:
    """Shape (texts, texts): cosines of the vectors after half of their mean is taken off, -1 to 1."""
    wide = np.asarray(vectors, dtype=np.float64)
    shifted = wide - CENTRED * wide.mean(axis=0)
    norms = np.linalg.norm(shifted, axis=1, keepdims=True)
    unit = np.divide(shifted, norms, out=np.zeros_like(shifted), where=norms > 0)
    products: Scores = unit @ unit.T
    return products


def _softmax(scores: Array) -> Array:
    raised = np.exp(scores - scores.max(axis=-1, keepdims=True))
    shares: Array = raised / raised.sum(axis=-1, keepdims=True)
    return shares


def _gelu(states: Array) -> Array:
    # The exact form with the error function, as trained; the usual tanh form is off in the fourth digit.
    from scipy.special import erf

    half: Array = states * np.float32(0.5) * (1 + erf(states / np.float32(np.sqrt(2))))
    return half
