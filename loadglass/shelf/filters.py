"""The language of the filter line: words to search, and plain comparisons. HELP is all of it.

`parse` turns a filter into a condition of SQL on `images` and its parameters. Besides the index
it needs the temporary tables `chosen`, `off` and `in_sets` of query.py.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NoReturn

from formats.errors import LoadglassError
from formats.findings import TABLE
from formats.visible import visible
from loadglass.shelf.record import VERDICTS
from loadglass.shelf.words import has_words
from loadglass.timing.rig import Rig

HELP = """\
An image is shown if all of this holds.

  harbour light        words in title, file names, image name; each may be cut
  "harbour light"      words in a row; what is in quotes is only searched for
  title:light          in the disk's title; name: in files', file: in its own
  path:club            anywhere in its path

  fast-card<20s        time of the first program on a rig, in s or min
  all:fast-card<2min   time of all its programs in a row
  saved:fast-card>30s  what a rig saves against the stock loader on its drive

  blocks>100           also files programs tracks free rating; < <= > >= = !=
  verdict:sound        sound quirky damaged unreadable; commas: any of them
  finding:own-loader   a code of the audit
  kind:40-track        35-track 40-track 42-track 70-track 80-track
  tag:demo             a tag of yours
  set:pier             disks of one title: in the name of their set
  picked:yes           also rated, tagged, in-set, twin (same content elsewhere)
  gone:yes             no longer there; left out unless you ask; each also :no
  off:yes              what you took off the shelf; left out unless you ask

  -tag:demo            a minus, or the word not before it, turns one around
"""

NUMBERS = {
    "blocks": "images.blocks",
    "files": "images.files",
    "programs": "images.programs",
    "tracks": "images.tracks",
    "free": "images.free",
    "rating": "chosen.rating",
}
FLAGS = {
    "picked": "COALESCE(chosen.picked, 0)",
    "rated": "(chosen.rating IS NOT NULL)",
    "tagged": "(COALESCE(chosen.tags, '') <> '')",
    "gone": "images.gone",
    "off": "images.id IN (SELECT image_id FROM temp.off)",
    "in-set": "images.id IN (SELECT image_id FROM temp.in_sets)",
    "twin": (
        "images.id IN (SELECT id FROM images WHERE sha256 IN (SELECT sha256 FROM images "
        "WHERE NOT gone AND sha256 IS NOT NULL GROUP BY sha256 HAVING count(*) > 1))"
    ),
}
TEXTS = {"title": "title", "name": "names", "file": "file"}
"""Fields that are searched, and their columns in `texts`."""
WORDS = ("verdict", "finding", "kind", "tag", "set", "path")
OF_SETS = ("set", "in-set")
"""Fields that need the temporary table `in_sets` of query.py."""
RIG_PREFIXES = {"all": "all_s", "start": "start_s", "saved": "saved_s"}
COMPARISONS = {"<": "<", "<=": "<=", ">": ">", ">=": ">=", "=": "=", "!=": "<>", ":": "="}
KINDS = ("35-track", "40-track", "42-track", "70-track", "80-track")
YES_OR_NO = {"yes": 1, "no": 0}
CHOICES_SHOWN = 8
"""A sentence names so many of what could be meant."""

_COMPARISON = re.compile(
    r"""(?P<field>[^\s"<>=!:]+(?::[^\s"<>=!:]+(?=\s*[<>=!]))?)
        (?:\s*(?P<sign><=|>=|!=|<|>|=)\s*|(?P<colon>:))
        (?P<value>"[^"]*"?|[^\s"]+|)""",
    re.VERBOSE,
)
_PHRASE = re.compile(r'"(?P<phrase>[^"]*)(?P<end>"?)')
_WORD = re.compile(r'[^\s"]+')
_NUMBER = re.compile(r"\d+(\.\d+)?")
_TIME = re.compile(r"(?P<number>\d+(?:\.\d+)?)(?P<unit>[a-z]*)")
UNITS_S = {"": 1.0, "s": 1.0, "min": 60.0}


class FilterError(LoadglassError):
    """A filter that cannot be understood; the sentence says where and what is allowed."""

    def __init__(self, says: str, position: int) -> None:
        super().__init__(f"{says} (at character {position + 1} of the filter)")
        self.position = position
        """Index into the filter's text of what is wrong."""


@dataclass(frozen=True)
class Condition:
    """What an image must be, as SQL on `images` joined with `chosen`."""

    sql: str
    parameters: tuple[Any, ...]
    is_everything: bool
    """It lets every image through that is there."""
    speaks_of_sets: bool = False
    bare_rig: str = ""
    """A rig named by itself, which means the first program on it."""
    search: str | None = None
    """All of it as one full-text search of the images that are there, where it is no more."""


@dataclass(frozen=True)
class _Term:
    """One comparison, as it was typed."""

    field: str
    sign: str
    value: str
    at: int
    value_at: int

    def fail(self, says: str) -> NoReturn:
        raise FilterError(says, self.value_at)


def parse(filter_text: str, rigs: Sequence[Rig], full_text: bool = True) -> Condition:
    """A filter's condition. `full_text`: `texts` can MATCH. Raises FilterError."""
    text = filter_text.encode("utf-8", "replace").decode()  # without lone surrogates
    parser = _Parser(text, {rig.name: rig for rig in rigs}, full_text)
    conditions = list(parser.conditions())
    is_everything = not conditions
    is_search = bool(conditions) and all(sql == SEARCH for sql, _ in conditions)
    search = " AND ".join(f"({words})" for _, (words, *_) in conditions) if is_search else None
    if not parser.speaks_of_gone:
        conditions.append(("NOT images.gone", ()))
    if not parser.speaks_of_off:
        conditions.append((f"NOT {FLAGS['off']}", ()))
    return Condition(
        " AND ".join(f"({sql})" for sql, _ in conditions) or "1",
        tuple(parameter for _, parameters in conditions for parameter in parameters),
        is_everything,
        parser.speaks_of_sets,
        parser.bare_rig,
        search,
    )


SEARCH = "images.id IN (SELECT rowid FROM texts WHERE texts MATCH ?)"
_Sql = tuple[str, tuple[Any, ...]]


class _Parser:
    def __init__(self, text: str, rigs: Mapping[str, Rig], full_text: bool) -> None:
        self._text = text
        self._rigs = rigs
        self._full_text = full_text
        self._at = 0
        self.speaks_of_gone = False
        self.speaks_of_off = False
        self.speaks_of_sets = False
        self.bare_rig = ""

    def conditions(self) -> Iterator[_Sql]:
        while self._skip_spaces():
            at = self._at
            turned = self._negation()
            if not self._skip_spaces():
                raise FilterError("nothing follows to be turned around: write not tag:demo", at)
            sql, parameters = self._term()
            yield (f"NOT COALESCE({sql}, 0)" if turned else sql), parameters

    def _skip_spaces(self) -> bool:
        """Go on to the next that is no space; whether there is any."""
        rest = self._text[self._at :]
        self._at += len(rest) - len(rest.lstrip())
        return self._at < len(self._text)

    def _negation(self) -> bool:
        if match := re.compile(r"-(?=\S)|not(?=\s|$)", re.IGNORECASE).match(self._text, self._at):
            self._at = match.end()
            return True
        return False

    def _term(self) -> _Sql:
        if match := _PHRASE.match(self._text, self._at):
            if not match["end"]:
                raise FilterError('the closing quote " is missing', self._at)
            at, self._at = self._at, match.end()
            return self._search(None, match["phrase"], at, phrase=True)
        if match := _COMPARISON.match(self._text, self._at):
            at, self._at = self._at, match.end()
            value = match["value"]
            if value.startswith('"') and (len(value) < 2 or not value.endswith('"')):
                raise FilterError('the closing quote " is missing', match.start("value"))
            term = _Term(
                match["field"].casefold(),
                match["sign"] or match["colon"],
                value.strip('"'),
                at,
                match.start("value"),
            )
            return self._comparison(term, quoted=value.startswith('"'))
        match = _WORD.match(self._text, self._at)
        assert match is not None  # no space and no quote stands here
        if match[0][0] in "<>=!:":
            raise FilterError(
                f"before {match[0][0]} there has to be a field or a rig, as in blocks>100", self._at
            )
        at, self._at = self._at, match.end()
        return self._search(None, match[0], at)

    def _comparison(self, term: _Term, quoted: bool) -> _Sql:
        if not term.value:
            term.fail(f"a value is missing: {self._example(term)}")
        prefix, colon, rig = term.field.partition(":")
        if colon and prefix in RIG_PREFIXES:
            return self._time(term, prefix, rig, term.at + len(prefix) + 1)
        if term.field in self._rigs:
            self.bare_rig = term.field
            return self._time(term, "start", term.field, term.at)
        if term.field in NUMBERS:
            return self._number(term)
        if term.sign not in ("=", ":", "!="):
            self._known_field(term)
            raise FilterError(
                f"{term.field} cannot be more or less: {self._example(term)}",
                term.value_at - len(term.sign),
            )
        sql, parameters = self._equality(term, quoted)
        return (f"NOT COALESCE({sql}, 0)" if term.sign == "!=" else sql), parameters

    def _equality(self, term: _Term, quoted: bool) -> _Sql:
        self.speaks_of_sets |= term.field in OF_SETS
        if term.field in FLAGS:
            wanted = self._one_of(term, term.value, YES_OR_NO, term.value_at)
            self.speaks_of_off |= term.field == "off"
            self.speaks_of_gone |= term.field == "gone" or (term.field, wanted) == ("off", "yes")
            return f"({FLAGS[term.field]}) = ?", (YES_OR_NO[wanted],)
        if term.field in TEXTS:
            return self._search(TEXTS[term.field], term.value, term.value_at, phrase=quoted)
        self._known_field(term)
        return self._any_of(term, _WORD_FIELDS[term.field])

    def _any_of(self, term: _Term, make: Callable[[_Parser, _Term, str, int], _Sql]) -> _Sql:
        """Values with commas between them."""
        found = []
        at = term.value_at
        for value in term.value.split(","):
            if not value:
                raise FilterError("a value is missing beside the comma", at)
            found.append(make(self, term, value, at))
            at += len(value) + 1
        parameters = tuple(parameter for _, each in found for parameter in each)
        return " OR ".join(sql for sql, _ in found), parameters

    def _verdict(self, term: _Term, value: str, at: int) -> _Sql:
        names = [verdict.value for verdict in VERDICTS]
        return "images.verdict = ?", (names.index(self._one_of(term, value, names, at)),)

    def _finding(self, term: _Term, value: str, at: int) -> _Sql:
        return "instr(images.findings, ?)", (f" {self._one_of(term, value, TABLE, at)} ",)

    def _kind(self, term: _Term, value: str, at: int) -> _Sql:
        kind = self._one_of(term, value, KINDS, at)
        return "images.kind = ? OR images.kind LIKE ?", (kind, f"{kind} %")

    def _tag(self, term: _Term, value: str, at: int) -> _Sql:
        return "instr(chosen.tags, ?)", (f" {value.casefold()} ",)

    def _set(self, term: _Term, value: str, at: int) -> _Sql:
        return (
            "images.id IN (SELECT image_id FROM temp.in_sets WHERE instr(name, ?))",
            (value.casefold(),),
        )

    def _path(self, term: _Term, value: str, at: int) -> _Sql:
        name = "CAST(images.name AS TEXT) || '/' || CAST(member AS TEXT)"
        if "/" in value:  # may reach from the folder's path into the name: slower
            folder = "(SELECT CAST(path AS TEXT) FROM folders WHERE id = images.folder_id)"
            return f"instr(lower({folder} || '/' || {name}), lower(?))", (value,)
        return (
            "images.folder_id IN (SELECT id FROM folders "
            f"WHERE instr(lower(CAST(path AS TEXT)), lower(?))) OR instr(lower({name}), lower(?))",
            (value, value),
        )

    def _number(self, term: _Term) -> _Sql:
        if not _NUMBER.fullmatch(term.value):
            term.fail(f'"{visible(term.value)}" is no number: {self._example(term)}')
        return f"{NUMBERS[term.field]} {COMPARISONS[term.sign]} ?", (float(term.value),)

    def _time(self, term: _Term, prefix: str, name: str, at: int) -> _Sql:
        if name not in self._rigs:
            raise FilterError(
                f'there is no rig "{visible(name)}"{_meant(name, self._rigs)}: '
                f"the rigs are {', '.join(self._rigs)}",
                at,
            )
        match = _TIME.fullmatch(term.value.casefold())
        if match is None or match["unit"] not in UNITS_S:
            term.fail(f'"{visible(term.value)}" is no time: write it like 20s or 1.5min')
        seconds = float(match["number"]) * UNITS_S[match["unit"]]
        sql, parameters = times_of(prefix, self._rigs[name])
        sign = COMPARISONS[term.sign]
        return (
            f"images.id IN (SELECT image_id FROM ({sql}) WHERE seconds {sign} ?)",
            (*parameters, seconds),
        )

    def _search(self, column: str | None, text: str, at: int, phrase: bool = False) -> _Sql:
        if not has_words(text):
            raise FilterError(f'"{visible(text)}" has no letter or digit to search for', at)
        if self._full_text:
            quoted = '"' + text.replace('"', "").replace("\0", "") + '"'
            only = f"{column} : " if column else ""
            match = f"{only}{quoted}{'' if phrase else ' *'}"
            return SEARCH, (match,)
        columns = [column] if column else list(TEXTS.values())
        escaped = re.sub(r"([%_\\])", r"\\\1", text)
        tests = " OR ".join(f"' ' || {each} LIKE ? ESCAPE '\\'" for each in columns)
        return (
            f"images.id IN (SELECT rowid FROM texts WHERE {tests})",
            (f"% {escaped}%",) * len(columns),
        )

    def _one_of(self, term: _Term, value: str, allowed: Any, at: int) -> str:
        value = value.casefold()
        if value not in allowed:
            raise FilterError(
                f'{term.field} cannot be "{visible(value)}"{_meant(value, allowed)}: '
                + _choices(value, allowed),
                at,
            )
        return value

    def _known_field(self, term: _Term) -> None:
        fields = [*NUMBERS, *FLAGS, *TEXTS, *WORDS]
        if term.field not in fields:
            raise FilterError(
                f'there is no field or rig "{visible(term.field)}"'
                f"{_meant(term.field, [*fields, *self._rigs])}: the fields are "
                f"{', '.join(fields)}, the rigs {', '.join(self._rigs)}; "
                "in quotes it is searched for",
                term.at,
            )

    def _example(self, term: _Term) -> str:
        """How such a comparison is written."""
        if term.field in NUMBERS:
            return f"write it like {term.field}>{EXAMPLES.get(term.field, '100')}"
        if term.field in FLAGS:
            return f"write {term.field}:yes or {term.field}:no"
        if term.field in EXAMPLES:
            return f"write it like {term.field}:{EXAMPLES[term.field]}"
        if term.field in self._rigs or ":" in term.field:
            return f"write it like {term.field}<20s"
        self._known_field(term)
        return f"write it like {term.field}:light"


EXAMPLES = {
    "rating": "3",
    "tracks": "35",
    "verdict": "sound",
    "finding": "own-loader",
    "kind": "40-track",
    "tag": "demo",
    "set": "pier",
    "path": "club",
}
_WORD_FIELDS: dict[str, Callable[[_Parser, _Term, str, int], _Sql]] = {
    "verdict": _Parser._verdict,
    "finding": _Parser._finding,
    "kind": _Parser._kind,
    "tag": _Parser._tag,
    "set": _Parser._set,
    "path": _Parser._path,
}


def times_of(prefix: str, rig: Rig) -> _Sql:
    """SQL of (image_id, seconds): `start`, `all` or `saved` on a rig."""
    of_rig = "(SELECT id FROM rigs WHERE name = ?)"
    if prefix != "saved":
        column = RIG_PREFIXES[prefix]
        return f"SELECT image_id, {column} AS seconds FROM times WHERE rig_id = {of_rig}", (
            rig.name,
        )
    return (
        "SELECT own.image_id, stock.all_s - own.all_s AS seconds FROM times AS own "
        "JOIN times AS stock ON stock.image_id = own.image_id "
        f"WHERE own.rig_id = {of_rig} AND stock.rig_id = {of_rig}",
        (rig.name, f"stock-{rig.drive}"),
    )


def _choices(value: str, allowed: Iterable[str]) -> str:
    """What it could be; of many those that go on as what was typed."""
    every = list(allowed)
    near = [each for each in every if each.startswith(value)]
    shown = near or every
    more = f" and {len(shown) - CHOICES_SHOWN} more" if len(shown) > CHOICES_SHOWN else ""
    begins = "those that begin so are" if near and value else "it is one of"
    return f"{begins} {', '.join(shown[:CHOICES_SHOWN])}{more}"


def _meant(value: str, allowed: Any) -> str:
    near = difflib.get_close_matches(value, list(allowed), 1)
    return f", perhaps {near[0]}" if near else ""
