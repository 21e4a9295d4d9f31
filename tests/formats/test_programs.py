"""Program files: tokens as the programmer's reference lists them, programs made by hand."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.basic_tokens import FIRST_TOKEN, KEYWORDS, BadListing, crunch, expand
from formats.petscii import LOWER, UPPER, to_text
from formats.programs import (
    BasicLine,
    basic_listing,
    checksum,
    describe,
    end_address,
    is_basic,
    load_address,
    sys_address,
    tokenise,
    wraps,
)

# The token table of the programmer's reference, from memory: hexadecimal code and keyword.
REFERENCE = """
80 END     81 FOR     82 NEXT   83 DATA   84 INPUT#  85 INPUT  86 DIM   87 READ
88 LET     89 GOTO    8A RUN    8B IF     8C RESTORE 8D GOSUB  8E RETURN 8F REM
90 STOP    91 ON      92 WAIT   93 LOAD   94 SAVE    95 VERIFY 96 DEF   97 POKE
98 PRINT#  99 PRINT   9A CONT   9B LIST   9C CLR     9D CMD    9E SYS   9F OPEN
A0 CLOSE   A1 GET     A2 NEW    A3 TAB(   A4 TO      A5 FN     A6 SPC(  A7 THEN
A8 NOT     A9 STEP    AA +      AB -      AC *       AD /      AE ↑     AF AND
B0 OR      B1 >       B2 =      B3 <      B4 SGN     B5 INT    B6 ABS   B7 USR
B8 FRE     B9 POS     BA SQR    BB RND    BC LOG     BD EXP    BE COS   BF SIN
C0 TAN     C1 ATN     C2 PEEK   C3 LEN    C4 STR$    C5 VAL    C6 ASC   C7 CHR$
C8 LEFT$   C9 RIGHT$  CA MID$   CB GO
"""

# Typed on paper: 10 PRINT "AHOI" / 20 GOTO 10, as it lies in memory from 0801 on.
BY_HAND = bytes.fromhex(
    "01 080E 08  0A 00  99 20 22 41 48 4F 49 22  0017 08  14 00  89 20 31 30  0000 00"
)
STUB = bytes.fromhex("01 08  0B 08  0A 00  9E 32 30 36 34  00  00 00  00 00  A9 00 60")


def line(body: bytes, number: int = 10, start: int = 0x0801, link: int | None = None) -> bytes:
    """A program of one line as the machine stores it; a false link on request."""
    link = start + 5 + len(body) if link is None else link
    head = b"".join(word.to_bytes(2, "little") for word in (start, link, number))
    return head + body + b"\0\0\0"


def texts(program: bytes) -> list[str]:
    return [text for _, text in basic_listing(program)]


def test_token_table_is_the_references() -> None:
    reference = {int(code, 16): word for code, word in re.findall(r"(\S\S) (\S+)", REFERENCE)}
    assert len(reference) == 76
    assert dict(enumerate(KEYWORDS, start=FIRST_TOKEN)) == reference
    for token, word in reference.items():
        assert expand(bytes([token])) == word
        assert crunch(word) == bytes([token])
        assert crunch(word.lower()) == bytes([token])


def test_a_program_by_hand_is_listed_and_made_again() -> None:
    lines = [BasicLine(10, 'PRINT "AHOI"'), BasicLine(20, "GOTO 10")]
    assert basic_listing(BY_HAND) == lines
    assert tokenise(map(str, lines)) == BY_HAND
    assert tokenise(['10print "ahoi"', "", "  20 goto 10\r\n"]) == BY_HAND
    assert is_basic(BY_HAND)
    assert describe(BY_HAND) == "BASIC program, 2 lines, 0801–0818"


@pytest.mark.parametrize(
    ("body", "text"),
    [
        (b"\x99\xff\xaa1", "PRINTπ+1"),
        (b'\x99"\x93\x11\xd3\x9e"\x9e', 'PRINT"⢓␑♥⢞"SYS'),
        (b'\x99"\x89', 'PRINT"⢉'),
        (b"\x8f \xd3\x89:\x99", "REM ♥⢉:⢙"),
        (b'\x83\xd3,"\x89:",\x99:\x99', 'DATA♥,"⢉:",⢙:PRINT'),
        (b"\xcc\xfe", to_text(b"\xcc\xfe")),
        (b"", ""),
    ],
)
def test_quotes_rem_and_data_hold_no_tokens(body, text) -> None:
    assert texts(line(body)) == [text]


@pytest.mark.parametrize(
    ("text", "body"),
    [
        ("GO TO 10", b"\xcb \xa4 10"),
        ("GOTO10", b"\x8910"),
        ("INPUT#1,A:INPUTA", b"\x841,A:\x85A"),
        ("PRINT#1:PRINT", b"\x981:\x99"),
        ("FORI=1TO10STEP2", b"\x81I\xb21\xa410\xa92"),
        ('?"?":?', b'\x99"?":\x99'),
        ("PRINTπ:REMπ", b"\x99\xff:\x8f\xde"),
        ('REM "A" GOTO', b'\x8f "A" GOTO'),
        ('DATA END,"A:END",FOR:END', b'\x83 END,"A:END",FOR:\x80'),
        ('PRINT"END', b'\x99"END'),
        ("PRINTTAB(3)SPC(2)", b"\x99\xa33)\xa62)"),
        ("A$=MID$(B$,2^3)", b"A$\xb2\xca(B$,2\xae3)"),
    ],
)
def test_crunching(text, body) -> None:
    assert crunch(text) == body


def test_lower_set_shows_and_takes_keywords_in_small_letters() -> None:
    program = line(b'\x99"\xc8AFEN"')
    assert texts(program) == ['PRINT"\U0001fb74AFEN"']
    assert [text for _, text in basic_listing(program, LOWER)] == ['print"Hafen"']
    assert tokenise(['10 print"Hafen"'], charset=LOWER) == program


def test_false_links_are_not_followed_and_a_high_byte_of_00_ends() -> None:
    crunched = bytes.fromhex("01 08  01 01  01 00  99 41 00  01 01  02 00  80 00  34 00  99 99 00")
    assert basic_listing(crunched) == [BasicLine(1, "PRINTA"), BasicLine(2, "END")]
    assert is_basic(crunched)


def test_a_program_cut_off_is_read_to_its_end() -> None:
    assert texts(BY_HAND[:12]) == ['PRINT "AHO']
    assert [texts(BY_HAND[:size]) for size in range(7)] == [[]] * 7


@pytest.mark.parametrize(
    ("data", "load", "end", "over"),
    [
        (b"", None, None, False),
        (b"\x01", None, None, False),
        (b"\x01\x08", 0x0801, None, False),
        (b"\x01\x08\x00", 0x0801, 0x0801, False),
        (b"\x00\xc0" + bytes(0x800), 0xC000, 0xC7FF, False),
        (b"\x00\xff" + bytes(0x100), 0xFF00, 0xFFFF, False),
        (b"\x00\xff" + bytes(0x101), 0xFF00, 0x0000, True),
    ],
)
def test_addresses(data, load, end, over) -> None:
    assert (load_address(data), end_address(data), wraps(data)) == (load, end, over)


def test_checksum_is_the_sum_of_the_bytes_in_memory() -> None:
    assert checksum(b"\x01\x08\xff\xff\x02") == 0x200
    assert checksum(b"\x01") == 0


@pytest.mark.parametrize(
    ("data", "basic"),
    [
        (b"", False),
        (b"\x01\x08\x00\x00", False),
        (line(b"\x99"), True),
        (line(b"\x99", start=0x4001), True),
        (line(b"\x99", link=0x0101), True),
        (line(b"A\xb21", link=0x0101, start=0x1C01), True),
        (line(b":: A$(1)\xb2B$", link=0x0101), True),
        (line(b"\x99", start=0x4001, link=0x0101), False),
        (line(b"\xa9\x00\x8d\x20\xd0", link=0x0101), False),
        (line(b"A" * 300), False),
        # Machine code where BASIC starts: JMP 0900, then data.
        (bytes.fromhex("01 08 4C 00 09 A9 05 8D 20 D0 60"), False),
        (bytes.fromhex("00 C0 A9 05 8D 20 D0 60 00 00"), False),
    ],
)
def test_is_basic(data, basic) -> None:
    assert is_basic(data) is basic


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("SYS 2064", 2064),
        ("SYS2064:REM HARBOUR LIGHTS", 2064),
        ("SYS2064 HARBOUR LIGHTS", 2064),
        ("SYS(2064)", 2064),
        (" : SYS ( 20 64 )", 2064),
        ("SYS 2048+16", 2064),
        ("SYS (2048)+(16)", 2064),
        ("SYS 0", 0),
        ("SYS 65535", 65535),
        ("SYS 65536", None),
        ("SYS 65535+1", None),
        ("SYS " + "9" * 240, None),
        ("SYS PEEK(43)+256*PEEK(44)+26", None),
        ("SYS 26+PEEK(43)", None),
        ("SYS 2*1032", None),
        ("SYS 2064-5", None),
        ("SYS 2064.5", None),
        ("SYS 2E3", None),
        ("SYS (2064", None),
        ("SYS A", None),
        ("SYS", None),
        ("PRINT:SYS 2064", None),
        ('"SYS 2064', None),
        ("REM SYS 2064", None),
    ],
)
def test_sys_address(text, address) -> None:
    assert sys_address(tokenise([f"10 {text}", "20 SYS 4096"])) == address


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (STUB, "BASIC stub, starts machine code at 2064 (0810)"),
        (tokenise(["10 SYS 64738"]), "BASIC program, 1 line, 0801–080E"),
        (b"\x00\xc0" + bytes(0x800), "machine code C000–C7FF"),
        (b"\x00\xff" + bytes(0x101), "machine code FF00–0000, past FFFF"),
        (b"\x00\xc0", "a load address, C000, and nothing to load"),
        (b"\x00", "too short for a program"),
    ],
)
def test_describe(data, says) -> None:
    assert describe(data) == says


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("PRINT", "a BASIC line needs a number from 0 to 65535 before it, and this one has none:"),
        ("65536 PRINT", "a BASIC line needs a number from 0 to 65535"),
        ("9" * 5000, "a BASIC line needs a number from 0 to 65535"),
        ("10 PRINT ß", "BASIC line 10: the character 'ß' (position 7) does not exist"),
        ("10 A♥=1", "BASIC line 10: the character '♥' may stand only in quotes"),
        ('10 PRINT"␀"', "BASIC line 10: the character with code 00 would end the line"),
        ("10 REM" + "A" * 251, "BASIC line 10 takes 252 bytes, and no line may take more than 251"),
    ],
)
def test_lines_that_cannot_be_made(text, says) -> None:
    with pytest.raises(BadListing) as error:
        tokenise([text])
    assert str(error.value).startswith(says)


def test_a_listing_past_the_end_of_memory_is_refused() -> None:
    assert end_address(tokenise(["10 END"], start=0x10000 - 8)) == 0xFFFF
    with pytest.raises(BadListing, match="past the end of memory"):
        tokenise(["10 END"], start=0x10000 - 7)


# Characters that a listing shows, so that it comes back unchanged: no small letters, no "?".
PROGRAM_TEXT = st.sampled_from(
    [*KEYWORDS, *(chr(code) for code in range(0x20, 0x5C) if chr(code) not in '"?'), "£", "π", "←"]
)
# What the keyboard can send, without the quote.
QUOTABLE = st.sampled_from(to_text(bytes({*range(1, 0x60), *range(0x80, 0xE0)} - {0x22})))
FRAGMENTS = st.one_of(
    PROGRAM_TEXT,
    st.text(QUOTABLE, max_size=20).map('"{}"'.format),
    st.text(QUOTABLE.filter(lambda c: c != ":"), max_size=20).map(":DATA{}:".format),
)
LAST_FRAGMENTS = st.one_of(
    st.just(""), *(st.text(QUOTABLE, max_size=20).map(word.__add__) for word in (":REM", '"'))
)
# On the machine too, spaces after a line's number go, and a digit would be part of the number.
LINE_TEXTS = st.builds(
    lambda fragments, last: "".join([*fragments, last]).lstrip(" "),
    st.lists(FRAGMENTS, max_size=8),
    LAST_FRAGMENTS,
).filter(lambda text: not text[:1].isdigit())
LISTINGS = st.lists(st.builds(BasicLine, st.integers(0, 65535), LINE_TEXTS), max_size=8)


@given(listing=LISTINGS)
def test_tokenising_a_listing_and_listing_it_gives_it_back(listing) -> None:
    program = tokenise(listing)
    assert basic_listing(program) == listing
    assert is_basic(program) == bool(listing)


@given(listing=LISTINGS, start=st.sampled_from([0x0401, 0x0801, 0x1C01, 0x4001]))
def test_links_lead_from_line_to_line(listing, start) -> None:
    program = tokenise(listing, start)
    memory = {start + offset: byte for offset, byte in enumerate(program[2:])}
    at, walked = start, 0
    while memory[at + 1]:
        following = memory[at] | memory[at + 1] << 8
        assert memory[following - 1] == 0
        at, walked = following, walked + 1
    assert walked == len(listing)
    assert at + 1 == end_address(program)


@given(data=st.binary(max_size=2000))
@pytest.mark.parametrize("charset", [UPPER, LOWER])
def test_any_bytes_are_taken(charset, data) -> None:
    lines = basic_listing(data, charset)
    # The longest keyword, RESTORE, has seven letters.
    assert sum(len(text) for _, text in lines) <= 7 * len(data)
    assert all(0 <= number <= 65535 for number, _ in lines)
    assert describe(data).isprintable()
    assert sys_address(data) is None or is_basic(data)
    assert 0 <= checksum(data) <= 255 * len(data)


@given(body=st.binary().map(lambda body: body.replace(b"\0", b"")))
def test_any_line_keeps_its_characters(body) -> None:
    assert len(expand(body)) >= len(body)
    words = {bytes([token]): word for token, word in enumerate(KEYWORDS, start=FIRST_TOKEN)}
    slow, quoted, literal = "", False, None
    for code in body:
        byte = bytes([code])
        is_literal = quoted or literal is not None
        slow += to_text(byte) if is_literal else words.get(byte, to_text(byte))
        if literal != "REM" and byte == b'"':
            quoted = not quoted
        elif not is_literal and words.get(byte) in ("REM", "DATA"):
            literal = words[byte]
        elif literal == "DATA" and byte == b":" and not quoted:
            literal = None
    assert expand(body) == slow


@pytest.mark.parametrize("filling", [b"\x83", b'"', b"\x8f", b"(", b"\x8c", b"A ", b'\x83":'])
def test_a_memory_full_of_one_thing_ends(filling) -> None:
    body = filling * (60_000 // len(filling))
    program = line(body)
    assert texts(program) == [expand(body)]
    assert sys_address(program) is None
    assert describe(program).startswith("machine code 0801–")
