"""One line of BASIC, between text and tokens: the machine's second version of the language.

As the machine stores a line, so it is read here: what is quoted, what follows REM and what follows
DATA up to the next colon outside quotes holds no tokens. (The machine's own LIST forgets about REM
and DATA and shows shifted characters there as keywords.)
"""

import re
from functools import cache

from formats.errors import LoadglassError
from formats.petscii import UPPER, Charset, from_text, to_text

# From memory of the programmer's reference. Tokens 80 to CB, in order; the order also decides
# which word is seen first where one begins another (GOTO before GO).
_WORDS = """
    END FOR NEXT DATA INPUT# INPUT DIM READ LET GOTO RUN IF RESTORE GOSUB RETURN REM
    STOP ON WAIT LOAD SAVE VERIFY DEF POKE PRINT# PRINT CONT LIST CLR CMD SYS OPEN
    CLOSE GET NEW TAB( TO FN SPC( THEN NOT STEP + - * / ↑ AND OR > = <
    SGN INT ABS USR FRE POS SQR RND LOG EXP COS SIN TAN ATN PEEK LEN STR$
    VAL ASC CHR$ LEFT$ RIGHT$ MID$ GO
"""
KEYWORDS = tuple(_WORDS.split())
FIRST_TOKEN = 0x80
DATA = FIRST_TOKEN + KEYWORDS.index("DATA")
REM = FIRST_TOKEN + KEYWORDS.index("REM")
SYS = FIRST_TOKEN + KEYWORDS.index("SYS")
PLUS = FIRST_TOKEN + KEYWORDS.index("+")

_WORD_OF_TOKEN = {FIRST_TOKEN + place: from_text(word) for place, word in enumerate(KEYWORDS)}
_PI_TOKEN = b"\xff"
_PI_CHARACTERS = b"\xde\xff"

_QUOTED = rb'"[^"]*+"?+'
_REST_OF_DATA = rb"(?:" + _QUOTED + rb'|[^:"])*+'
_TOKENS = re.compile(
    _QUOTED + rb"|%c[\0-\xff]*+|%c" % (REM, DATA) + _REST_OF_DATA + rb"|[\x80-\xcb]"
)


class BadListing(LoadglassError):
    """A line of text cannot be made a line of BASIC."""


def expand(body: bytes, charset: Charset = UPPER) -> str:
    """The text of a stored line, without number and closing 00; never fails.

    Bytes that are no token of this BASIC are shown as characters.
    """

    def keyword(found: re.Match[bytes]) -> bytes:
        token, rest = found[0][0], found[0][1:]
        return _WORD_OF_TOKEN.get(token, found[0][:1]) + rest

    return to_text(_TOKENS.sub(keyword, body), charset)


def crunch(text: str, charset: Charset = UPPER) -> bytes:
    """The stored form of a line's text, without number and closing 00.

    As on the machine, ``?`` stands for PRINT and π is the constant. Raises ``UnknownCharacter``,
    or ``BadListing`` for graphics where only program text may stand and for the byte 00.
    """
    typed = from_text(text, charset)
    if 0 in typed:
        raise BadListing("the character with code 00 would end the line")

    def token(found: re.Match[bytes]) -> bytes:
        typed_word = found["word"]
        if typed_word is None:
            return found[0]
        if typed_word not in _token_of_typed():
            raise BadListing(
                f"the character '{to_text(typed_word, charset)}' "
                "may stand only in quotes, remarks and data"
            )
        return _token_of_typed()[typed_word] + found["rest"]

    return _typed_words().sub(token, typed)


@cache
def _token_of_typed() -> dict[bytes, bytes]:
    tokens = {word: bytes([token]) for token, word in _WORD_OF_TOKEN.items()}
    tokens[b"?"] = tokens[b"PRINT"]
    return tokens | {bytes([pi]): _PI_TOKEN for pi in _PI_CHARACTERS}


@cache
def _typed_words() -> re.Pattern[bytes]:
    words = b"|".join(map(re.escape, _WORD_OF_TOKEN.values()))
    return re.compile(
        _QUOTED
        + rb"|(?P<word>(?:"
        + words
        + rb"|[?\x80-\xff]))(?P<rest>(?<=REM)[\0-\xff]*+|(?<=DATA)"
        + _REST_OF_DATA
        + rb"|)"
    )
