"""Names are taken out of texts as whole words, in any case, and nothing else is."""

import pytest

from jobs.retention.services.words import Words


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("Ring Nan Orrick.", "Ring (deleted)."),
        ("ring NAN  ORRICK\nnow", "ring (deleted)\nnow"),
        ("nan@x.example and xnan@x.example", "(deleted) and xnan@x.example"),
        ("Nan Orrickson", "Nan Orrickson"),
        ("Bo", "(deleted)"),
        ("Both of them", "Both of them"),
        ("", ""),
    ],
)
def test_a_text_loses_the_words_and_no_others(text: str, left: str) -> None:
    words = Words(["Nan Orrick", "nan@x.example", "Bo", ""])
    assert words.out_of(text) == left
    assert words.out_of([{"a": text}]) == [{"a": left}]
    assert words.stand_in(text) == (text != left)


def test_without_words_nothing_is_taken_out() -> None:
    assert Words(["", " "]).out_of("Nan") == "Nan"
    assert not Words([]).stand_in("")
