"""`loadglass card`: what it prints, its JSON keys, its exit statuses, and what it never does."""

from __future__ import annotations

import csv
import hashlib
import io
import sys
from pathlib import Path

import pytest

from formats.compose import compose
from tests.tui import images
from tests.tui.calling import Called, call

PLAN_KEYS = ["dest", "picks", "bytes", "left_out"]
PICK_KEYS = ["path", "target", "bytes", "sha256"]


@pytest.fixture
def card(tmp_path: Path) -> Path:
    folder = tmp_path / "card"
    folder.mkdir()
    return folder


@pytest.fixture
def club(tmp_path: Path) -> Path:
    """A surveyed folder of three images, one of them damaged."""
    folder = tmp_path / "club"
    folder.mkdir()
    images.put(folder, "Harbour Night.d64", images.sound())
    images.put(folder, "Tide Table.d64", images.sound(b"TIDE TABLE"))
    images.put(folder, "Harbour Loop.d64", images.looped())
    assert call("survey", str(folder)).status == 0
    return folder


def filled(card: Path, *options: str) -> Called:
    return call("card", "fill", str(card), "--yes", *options)


def on_card(card: Path) -> dict[str, bytes]:
    return {
        path.relative_to(card).as_posix(): path.read_bytes()
        for path in card.rglob("*")
        if path.is_file() and ".loadglass" not in path.parts
    }


def test_a_plan_in_json(club: Path, card: Path) -> None:
    called = call("card", "plan", str(card), "--json")
    assert called.status == 0
    (record,) = called.records
    assert [key for key in record if key in PLAN_KEYS] == PLAN_KEYS
    assert record["dest"] == str(card)
    assert [pick["target"] for pick in record["picks"]] == ["Harbour Night.d64", "Tide Table.d64"]
    pick = record["picks"][0]
    assert [key for key in pick if key in PICK_KEYS] == PICK_KEYS
    data = (club / "Harbour Night.d64").read_bytes()
    assert pick["sha256"] == hashlib.sha256(data).hexdigest()
    assert pick["bytes"] == len(data) and record["bytes"] == 2 * len(data)
    assert record["left_out"] == [{"path": str(club / "Harbour Loop.d64"), "why": "damaged"}]
    waiting = record["waiting"]
    assert waiting["saved"] == pytest.approx(waiting["stock"] - waiting["fast"], abs=1e-5)
    assert not list(card.iterdir()), "a plan changes nothing"


def test_a_plan_names_what_has_nothing_to_load(club: Path, card: Path) -> None:
    images.put(club, "zeros.d64", bytes(174_848))
    images.put(club, "raw.d64", bytes(91_392) + b"MOIN" * 20_864)
    images.put(club, "empty.d64", compose(b"EMPTY", []))
    call("survey", str(club))
    (record,) = call("card", "plan", str(card), "--json").records
    why = {Path(each["path"]).name: each["why"] for each in record["left_out"]}
    assert why["zeros.d64"] == "nothing to load: blank image, never written; it goes if you pick it"
    assert len(record["picks"]) == 2
    assert call("shelf", "", "--pick").status == 0
    (record,) = call("card", "plan", str(card), "--json").records
    assert {pick["target"]: pick["nothing_to_load"] for pick in record["picks"]} == {
        "Harbour Night.d64": "",
        "Tide Table.d64": "",
        "empty.d64": "no file in its directory",
        "raw.d64": "raw blocks, no directory",
        "zeros.d64": "blank image, never written",
    }
    said = call("card", "plan", str(card)).out
    assert "nothing to load: blank image" in " ".join(said.split())
    assert "3 images with nothing to load among them" in said
    assert "(zeros.d64)" in call("shelf", "zeros").out
    assert "blank image, never written" in call("audit", str(club)).out
    said = call("audit", str(club / "zeros.d64"), "--explain").out
    assert "the whole image is zeros: never written" in said


def test_junk_is_taken_off_the_shelf_and_put_back(club: Path, card: Path) -> None:
    assert call("shelf", "tide", "--take-off").status == 0
    call("survey", str(club))
    assert "Tide Table.d64" not in call("shelf").out + call("card", "plan", str(card)).out
    assert (club / "Tide Table.d64").exists()
    assert call("shelf", "off:yes", "--put-back").status == 0
    assert "Tide Table.d64" in call("shelf").out


def test_a_plan_says_what_has_changed_on_the_card(club: Path, card: Path) -> None:
    filled(card)
    (card / "Tide Table.d64").write_bytes(images.sound(b"HIGH SCORE"))
    said = call("card", "plan", str(card)).out
    assert "kept as it is" in " ".join(said.split()) and "1 there already by size" in said
    said = call("card", "plan", str(card), "--replace-changed").out
    assert "replaced by" in " ".join(said.split())


def test_a_fill_in_json(club: Path, card: Path) -> None:
    called = filled(card, "--json")
    assert called.status == 0
    (record,) = called.records
    assert [key for key in record if key in PLAN_KEYS] == PLAN_KEYS
    assert record["safe_to_remove"] is True
    for pick in record["picks"]:
        data = (card / pick["target"]).read_bytes()
        assert pick["sha256"] == hashlib.sha256(data).hexdigest()
        assert data == Path(pick["path"]).read_bytes()
    assert len(record["left_out"]) == 1


def test_a_fill_for_people(club: Path, card: Path) -> None:
    called = filled(card, "--mended")
    assert called.status == 0
    for words in (
        "HARBOUR NIGHT",
        "HARBOUR LOOP (mended copy)",
        "3 images copied and compared",
        "is safe to remove",
        "can lose what FAT itself loses",
        "Switch the machine off before you plug",
    ):
        assert words in called.out
    assert "3 there already" in filled(card, "--mended").out


def test_it_never_asks_where_nobody_can_answer(
    club: Path, card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("y\n"))
    called = call("card", "fill", str(card))
    assert called.status == 2 and "--yes" in called.err
    assert not list(card.iterdir())


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("answer", "status"), [("y\n", 0), ("YES\n", 0), ("n\n", 1), ("\n", 1), ("", 1)]
)
def test_it_asks_on_a_terminal(
    club: Path, card: Path, monkeypatch: pytest.MonkeyPatch, answer: str, status: int
) -> None:
    monkeypatch.setattr(sys, "stdin", Terminal(answer))
    called = call("card", "fill", str(card))
    assert called.status == status
    assert "like this? [y/N]" in called.err and "Harbour Night.d64" in called.out
    assert bool(on_card(card)) == (status == 0)


def test_picks_filters_and_rules(club: Path, card: Path) -> None:
    def targets(*options: str) -> list[str]:
        (record,) = call("card", "plan", str(card), "--json", *options).records
        return [pick["target"] for pick in record["picks"]]

    assert targets("--where", "tide") == ["Tide Table.d64"]
    assert call("shelf", "harbour", "--pick", "--json").status == 0
    assert targets() == ["Harbour Night.d64"], "the picks; one of them is damaged"
    assert targets("--where", "") == ["Harbour Night.d64", "Tide Table.d64"]
    assert len(targets("--where", "", "--even-damaged")) == 3
    assert targets("--where", "", "--layout", "letter") == [
        "H/Harbour Night.d64",
        "T/Tide Table.d64",
    ]
    assert targets("--where", "", "--longest", "1s") == []
    assert len(targets("--where", "", "--budget-bytes", "200kB")) == 1
    assert len(targets("--where", "", "--budget-time", "2h")) == 2


def test_of_one_content_one_goes_or_every_copy(club: Path, card: Path) -> None:
    images.put(club, "Tide Table copy.d64", images.sound(b"TIDE TABLE"))
    call("survey", str(club))
    for _ in ("everything", "the picks"):
        one, every = (
            call("card", "plan", str(card), "--json", *options).records[0]
            for options in ((), ("--every-copy",))
        )
        assert (len(one["picks"]), len(every["picks"])) == (2, 3)
        (why,) = [each["why"] for each in one["left_out"] if "copy" in each["path"]]
        assert why.startswith("a twin of ")
        call("shelf", "", "--pick")


def test_how_good_a_choice_is(club: Path, card: Path) -> None:
    called = call("card", "plan", str(card), "--budget-bytes", "0.2M")
    assert "1 title; no choice within the limits has more" in called.out
    assert "better use of the budget of 200,000 bytes" in called.out
    assert call("shelf", "tide", "--rate", "5").status == 0
    called = call("card", "plan", str(card), "--budget-bytes", "0.2M", "--by-rating")
    assert "Tide Table.d64" in called.out.partition("Left out")[0]
    assert "ratings of 5 together; no choice within the limits has more" in called.out


def test_a_check_in_json_and_its_status(club: Path, card: Path) -> None:
    filled(card)
    (card / "notes.txt").write_bytes(b"x")
    called = call("card", "check", str(card), "--json")
    assert called.status == 0
    (record,) = called.records
    assert list(record)[:5] == ["dest", "ok", "missing", "changed", "foreign"]
    assert record["ok"] == ["Harbour Night.d64", "Tide Table.d64"]
    assert (record["missing"], record["changed"], record["foreign"]) == ([], [], ["notes.txt"])

    (card / "Tide Table.d64").write_bytes(images.sound(b"HIGH SCORES"))
    called = call("card", "check", str(card), "--json")
    assert called.status == 0 and called.records[0]["changed"] == ["Tide Table.d64"]
    (card / "Tide Table.d64").write_bytes(images.looped())
    called = call("card", "check", str(card))
    assert called.status == 1 and "now X damaged" in called.out
    (card / "Tide Table.d64").unlink()
    called = call("card", "check", str(card))
    assert called.status == 1 and "missing   Tide Table.d64" in called.out


def test_a_check_knows_the_shelf(club: Path, card: Path) -> None:
    filled(card)
    images.put(club, "Tide Table.d64", images.sound(b"TIDE TABLE 2"))
    (club / "Harbour Night.d64").unlink()
    call("survey", str(club))
    (record,) = call("card", "check", str(card), "--json").records
    assert record["outdated"] == ["Harbour Night.d64", "Tide Table.d64"]


def test_a_card_that_a_drive_has_written_to(club: Path, card: Path, tmp_path: Path) -> None:
    filled(card)
    played = images.sound(b"HIGH SCORES")
    (card / "Tide Table.d64").write_bytes(played)
    called = filled(card)
    assert called.status == 0
    assert "card keep" in called.out and "--replace-changed" in called.out
    assert (card / "Tide Table.d64").read_bytes() == played
    home = tmp_path / "saved"
    home.mkdir()
    called = call("card", "keep", str(card), str(home), "--json")
    assert called.status == 0
    (record,) = called.records
    assert record["kept"] == [
        {"target": "Tide Table.d64", "path": str(home / "Tide Table changed.d64")}
    ]
    assert (home / "Tide Table changed.d64").read_bytes() == played
    assert "was brought back before" in call("card", "keep", str(card), str(home)).out
    assert filled(card, "--replace-changed").status == 0
    assert (card / "Tide Table.d64").read_bytes() == (club / "Tide Table.d64").read_bytes()
    assert "nothing on the card has changed" in call("card", "keep", str(card), str(home)).out


def test_removing_what_is_not_picked_any_more(club: Path, card: Path) -> None:
    filled(card)
    (card / "mine.d64").write_bytes(b"mine")
    called = filled(card, "--where", "tide")
    assert "left there" in called.out and "Harbour Night.d64" in on_card(card)
    called = filled(card, "--where", "tide", "--remove-unpicked")
    assert "To be removed" in called.out and "1 removed" in called.out
    assert on_card(card).keys() == {"Tide Table.d64", "mine.d64"}


def test_an_image_that_changed_since_the_survey(club: Path, card: Path) -> None:
    images.put(club, "Tide Table.d64", images.sound(b"ANOTHER"))
    called = filled(card, "--json")
    assert called.status == 1
    assert on_card(card).keys() == {"Harbour Night.d64"}
    why = {Path(each["path"]).name: each["why"] for each in called.records[0]["left_out"]}
    assert "changed since the survey" in why["Tide Table.d64"]


def test_contents_in_every_format(club: Path, card: Path) -> None:
    filled(card, "--layout", "letter")
    text = call("card", "contents", str(card))
    assert text.status == 0 and "HARBOUR NIGHT" in text.out and "2 images" in text.out
    page = call("card", "contents", str(card), "--format", "html").out
    assert page.startswith("<!DOCTYPE html>") and "TIDE TABLE" in page
    rows = list(
        csv.DictReader(io.StringIO(call("card", "contents", str(card), "--format", "csv").out))
    )
    assert [row["folder"] for row in rows] == ["H", "T"]
    (record,) = call("card", "contents", str(card), "--json").records
    assert [each["title"] for each in record["files"]] == ["HARBOUR NIGHT", "TIDE TABLE"]


def test_hostile_titles_never_reach_the_terminal(tmp_path: Path, card: Path) -> None:
    folder = tmp_path / "evil"
    folder.mkdir()
    images.put(folder, "\x1b[31m[red]evil\u202e.d64", images.hostile())
    call("survey", str(folder))
    for called in (
        call("card", "plan", str(card)),
        filled(card),
        call("card", "check", str(card)),
        call("card", "contents", str(card)),
        call("card", "plan", str(card), "--longest", "1s"),
    ):
        allowed = (called.out + called.err).replace("\n", "")
        assert allowed.isprintable(), ascii(allowed)
    assert all(name.isascii() for name in on_card(card))


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        ([], 2, "ACTION"),
        (["plan"], 2, "DEST"),
        (["plan", "{tmp}/nowhere"], 1, "there is no folder"),
        (["fill", "{tmp}/nowhere", "--yes"], 1, "there is no folder"),
        (["fill", "{tmp}/nowhere"], 1, "there is no folder"),
        (["plan", "{tmp}/club"], 1, "on the shelf itself"),
        (["plan", "{tmp}"], 1, "on the shelf itself"),
        (["plan", "{tmp}/link"], 1, "is a link to"),
        (["plan", "{tmp}/card", "--rig", "warp"], 2, "there is no rig"),
        (["plan", "{tmp}/card", "--where", "blocks>x"], 2, "--where:"),
        (["plan", "{tmp}/card", "--budget-bytes", "lots"], 2, "500MB"),
        (["plan", "{tmp}/card", "--budget-time", "2 weeks"], 2, "90s"),
        (["plan", "{tmp}/card", "--entries", "1"], 2, "at least 2"),
        (["plan", "{tmp}/card", "--layout", "heap"], 2, "invalid choice"),
        (["check", "{tmp}/card"], 1, "no list of loadglass"),
        (["contents", "{tmp}/card"], 1, "no list of loadglass"),
        (["keep", "{tmp}/card", "{tmp}"], 1, "no list of loadglass"),
        (["keep", "{tmp}/card", "{tmp}/card"], 1, "on the card itself"),
        (["contents", "{tmp}/card", "--format", "html", "--json"], 2, "one of them"),
    ],
)
def test_bad_calls_are_one_sentence(
    club: Path, card: Path, tmp_path: Path, arguments: list[str], status: int, words: str
) -> None:
    (tmp_path / "link").symlink_to(card)
    called = call("card", *(word.format(tmp=tmp_path) for word in arguments))
    assert (called.status, called.out) == (status, "")
    assert words in called.err


def test_an_empty_shelf(card: Path) -> None:
    called = call("card", "plan", str(card))
    assert called.status == 1 and "the shelf is empty" in called.err
