"""Hidden words are taken out of texts as one pattern of all of them would, and without the cost of it."""

from __future__ import annotations

import re
import time

from hypothesis import given
from hypothesis import strategies as st

from pipelines.consent.veil import HIDDEN, Veil

_WORDS = st.lists(st.text("aB1-_ /é", min_size=1, max_size=5), max_size=6)


@given(_WORDS, _WORDS, st.text("aB1-_ /é.", max_size=40))
def test_whatever_stands_by_itself_is_hidden_the_longest_first(words: list[str], marked: list[str], text: str) -> None:
    marks = {word: f"<{n}>" for n, word in enumerate(marked)}
    every = sorted({*words, *marks}, key=len, reverse=True)
    pattern = re.compile(rf"(?<![^\W_])(?:{'|'.join(map(re.escape, every))})(?![^\W_])") if every else None
    expected = pattern.sub(lambda m: HIDDEN if m[0] in words else marks[m[0]], text) if pattern else text
    assert Veil(words=frozenset(words), marks=marks).text(text) == expected


def test_a_text_costs_no_more_for_twenty_thousand_hidden_words_than_for_twenty() -> None:
    text = "Row 7 of consents.csv: FS-17 and FS-179999, then FS-18. " * 10

    def cost(count: int) -> float:
        veil = Veil(words=frozenset(f"FS-17{n}" for n in range(count)))
        veil.text(text)  # its words are sorted once
        times = []
        for _ in range(5):
            begun = time.perf_counter()
            veil.text(text)
            times.append(time.perf_counter() - begun)
        return min(times)

    assert cost(20_000) < 10 * cost(20)
