"""The letters of a short message, held against packed messages others have published."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.core.wording import gsm

# The default table has an escape at 27, which is no letter.
CODES = {letter: at + (at > 26) for at, letter in enumerate(gsm.BASIC)}


def _pack(text: str) -> str:
    """Seven bits a letter, the low ones first (3GPP TS 23.038, 6.1.2.1)."""
    bits = sum(CODES[letter] << (7 * at) for at, letter in enumerate(text))
    return bits.to_bytes((7 * len(text) + 7) // 8, "little").hex().upper()


# hellohello: gsmworld.it, "SMS PDU 7 bit coding"; Hello,my pretty world!: accessvba.blogsky.com, post 762.
@pytest.mark.parametrize(
    ("text", "packed"),
    [
        ("hellohello", "E8329BFD4697D9EC37"),
        ("Hello,my pretty world!", "C8329BFD66B5F320B8BC4CA7E741F7B79C4D0E01"),
    ],
)
def test_the_table_is_the_published_one(text: str, packed: str) -> None:
    assert _pack(text) == packed
    assert gsm.septets(text) == len(text)


def test_the_table_has_127_letters_and_an_escape() -> None:
    assert len(gsm.BASIC) == len(set(gsm.BASIC)) == 127
    assert all(CODES[letter] == ord(letter) for letter in "\n\r !\"#%&'()*+,-./0123456789:;<=>?AZaz")


# TS 23.038 by way of a packed reference message ("[x]" is 5 septets, the euro sign 2).
@pytest.mark.parametrize(("text", "cost"), [("@", 1), ("€", 2), ("[x]", 5), ("", 0)])
def test_the_extension_table_costs_two(text: str, cost: int) -> None:
    assert gsm.septets(text) == cost


@pytest.mark.parametrize("letter", ["°", "²", "µ", "ç", "`", "Ł"])
def test_a_letter_outside_both_tables_cannot_be_sent_and_is_replaced(letter: str) -> None:
    assert gsm.septets(letter) is None
    assert gsm.septets(gsm.sendable(letter)) is not None


@pytest.mark.parametrize(
    ("name", "sent"),
    [
        ("Bed\tC\n", "Bed C"),
        ("Łódź – piętro 1", "Lodz - pietro 1"),
        ("Mälzerei Süd", "Mälzerei Süd"),
        ("façade", "facade"),
        ("床", ""),
        ("Tenne\x00\x1b²", "Tenne2"),
    ],
)
def test_names_are_made_sendable(name: str, sent: str) -> None:
    assert gsm.sendable(name) == sent


@given(st.text(), st.integers(1, 40))
def test_any_name_is_sendable_short_and_never_empty(text: str, most: int) -> None:
    sent = gsm.name(text, most)
    cost = gsm.septets(sent)
    assert cost is not None
    assert 0 < cost <= most
    assert sent == " ".join(sent.split())
