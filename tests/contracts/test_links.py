"""Answer links: what a token says, and every way it is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.core import links
from gateway.core.links import Bad, Link, make_token, verify_token

KEY = bytes(range(32))
NOW_MS = 1_800_000_000_000
LINK = Link(412, 3, "ben", NOW_MS + links.DAY_MS)


def test_a_token_gives_back_its_link_and_is_url_safe() -> None:
    token = make_token(KEY, LINK)
    assert verify_token(KEY, token, NOW_MS) == LINK
    assert set(token) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_")
    assert links.answer_url("https://gate.example/", token) == f"https://gate.example/a/{token}"


def test_it_ends_to_the_second() -> None:
    token = make_token(KEY, LINK)
    assert verify_token(KEY, token, LINK.until_ms - 1) == LINK
    assert verify_token(KEY, token, LINK.until_ms) is Bad.EXPIRED


def test_every_single_changed_character_is_refused() -> None:
    token = make_token(KEY, LINK)
    for n, one in enumerate(token):
        other = "B" if one == "A" else "A"
        assert verify_token(KEY, token[:n] + other + token[n + 1 :], NOW_MS) in (Bad.FORGED, Bad.MALFORMED)


def test_another_key_another_alarm_and_another_person_do_not_fit() -> None:
    assert verify_token(bytes(32), make_token(KEY, LINK), NOW_MS) is Bad.FORGED
    tokens = {make_token(KEY, one) for one in (LINK, LINK._replace(alarm=413), LINK._replace(person="ada"))}
    assert len(tokens) == 3
    assert make_token(KEY, LINK._replace(occurrence=4)) not in tokens


@pytest.mark.parametrize("cut", [0, 1, 10, 37])
def test_a_part_of_a_token_is_refused(cut: int) -> None:
    assert verify_token(KEY, make_token(KEY, LINK)[:cut], NOW_MS) in (Bad.MALFORMED, Bad.FORGED)


def test_each_token_has_one_spelling() -> None:
    token = make_token(KEY, LINK._replace(person="b"))
    assert len(token) % 4 != 0, "padding bits are free here"
    for one in "BCDEFGH":
        assert verify_token(KEY, token[:-1] + one, NOW_MS) != LINK._replace(person="b") or token[-1] == one
    assert verify_token(KEY, token + "=", NOW_MS) is Bad.MALFORMED
    assert verify_token(KEY, token + "\n", NOW_MS) is Bad.MALFORMED
    assert verify_token(KEY, "ä" + token[1:], NOW_MS) is Bad.MALFORMED


@given(st.text(max_size=300))
def test_no_text_is_ever_a_token(text: str) -> None:
    assert isinstance(verify_token(KEY, text, NOW_MS), Bad)


def _fits(text: str) -> bool:
    return 0 < len(text.encode("utf-8", "replace")) <= links.PERSON_MOST and text.isprintable()


@given(
    st.builds(
        Link,
        st.integers(0, 2**63),
        st.integers(0, 2**32 - 1),
        st.text(min_size=1, max_size=16).filter(_fits),
        st.integers(NOW_MS // 1000 + 1, 10**11).map(lambda s: s * 1000),
    )
)
def test_any_link_goes_there_and_back(link: Link) -> None:
    token = make_token(KEY, link)
    assert len(token) <= links.TOKEN_MOST
    assert verify_token(KEY, token, NOW_MS) == link


def test_what_does_not_fit_is_named() -> None:
    with pytest.raises(ValueError, match="person: 0 bytes"):
        make_token(KEY, LINK._replace(person=""))
    with pytest.raises(ValueError, match="person: 65 bytes"):
        make_token(KEY, LINK._replace(person="x" * 65))
    with pytest.raises(ValueError, match="link:"):
        make_token(KEY, LINK._replace(alarm=-1))
    with pytest.raises(ValueError, match="link key: 3 bytes, expected 32"):
        make_token(b"abc", LINK)
