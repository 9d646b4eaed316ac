"""What a manifest may say, part by part: it comes from a file that anything may have happened to."""

import pytest

from ordain.rom.recorded import MOST, _address, _digits, _file_name, _number


@pytest.mark.parametrize("name", ["", ".", "..", "a/b", "/etc", "a\\b", "a\0b", None, 3])
def test_what_is_no_file_name(name: object) -> None:
    with pytest.raises(ValueError, match="`files`"):
        _file_name(name, "`files`")


@pytest.mark.parametrize("digits", ["", "-1", "+1", "0x1", " 1", "1 ", "1_0", "g", "1g", "FF", None, 1])
def test_what_is_no_hexadecimal_number(digits: object) -> None:
    """Most of these are one for `int`."""
    with pytest.raises(ValueError, match="`word`"):
        _digits(digits, "`word`")


@pytest.mark.parametrize("number", [-1, True, 1.0, "1", None])
def test_what_is_no_number(number: object) -> None:
    with pytest.raises(ValueError, match="`size`"):
        _number(number, "`size`")


def test_what_is_one() -> None:
    assert (_file_name("U1.bin", "x"), _file_name("...", "x")) == ("U1.bin", "...")
    assert (_digits("0", "x"), _digits("00ff", "x"), _number(0, "x"), _address(MOST - 1, "x")) == (0, 255, 0, MOST - 1)
    with pytest.raises(ValueError, match="no address is that high"):
        _address(MOST, "x")
