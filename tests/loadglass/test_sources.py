"""Where images come from: files, gzip, zip; what is no image, broken, hostile or changing."""

from __future__ import annotations

import gzip
import io
import os
import random
import sys
import zipfile
from pathlib import Path

import pytest

from formats.compose import NewFile, compose
from formats.errors import NotAnImage
from loadglass.sources import (
    CannotOpen,
    CannotRead,
    Reader,
    Source,
    Walk,
    list_below,
    members,
    open_image,
    read_source,
    source_of,
    walk,
)

IMAGE = compose(b"HAFENLICHT", [NewFile(b"LICHT", b"\x01\x08" + bytes(range(256)) * 20)])


def archive(path: Path, contents: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as opened:
        for name, data in contents.items():
            opened.writestr(name, data)
    return path


def test_plain_packed_and_archived_images_are_the_same(tmp_path: Path) -> None:
    (tmp_path / "a.d64").write_bytes(IMAGE)
    (tmp_path / "b.d64.gz").write_bytes(gzip.compress(IMAGE))
    archive(tmp_path / "c.zip", {"in/c.d64": IMAGE, "d.d64.gz": gzip.compress(IMAGE)})
    found = Walk()
    sources = list(walk([str(tmp_path)], found))
    assert [Path(source.path).name for source in sources] == [
        *("a.d64", "b.d64.gz", "c.d64", "d.d64.gz")
    ]
    assert {read_source(source) for source in sources} == {IMAGE}
    for source in sources:
        assert source_of(source.path) == source


@pytest.mark.parametrize(
    "name", ["./a.d64", "in//a.d64", "/a.d64", "../a.d64", "in/./a.d64", "in.zip/a.d64"]
)
def test_a_member_is_found_under_the_very_name_it_has(tmp_path: Path, name: str) -> None:
    archive(tmp_path / "x.zip", {name: IMAGE, "other.d64": IMAGE[::-1]})
    source = next(members(str(tmp_path / "x.zip"), Walk()))
    assert source_of(source.path) == source
    assert read_source(source_of(source.path)) == IMAGE


def test_an_image_may_begin_as_a_gzip_file_does(tmp_path: Path) -> None:
    image = b"\x1f\x8b" + IMAGE[2:]
    (tmp_path / "a.d64").write_bytes(image)
    assert open_image(tmp_path / "a.d64").sectors == image


def test_the_only_image_of_an_archive_is_meant(tmp_path: Path) -> None:
    one = archive(tmp_path / "one.zip", {"a.d64": IMAGE, "read me": b""})
    assert source_of(one).member == "a.d64"
    two = archive(tmp_path / "two.zip", {"a.d64": IMAGE, "b.d64": IMAGE})
    with pytest.raises(CannotRead, match=r"holds 2 images.*a\.d64"):
        source_of(two)


def test_folders_are_walked_by_name_and_links_left_alone(tmp_path: Path) -> None:
    for name in ("b/z.d64", "b/a.D64", "a/x.d64", "y.d64", "y.txt"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(IMAGE)
    if sys.platform != "win32":
        (tmp_path / "circle").symlink_to(tmp_path)
    found = Walk()
    paths = [os.path.relpath(source.path, tmp_path) for source in walk([str(tmp_path)], found)]
    assert [path.replace(os.sep, "/") for path in paths] == [
        *("y.d64", "a/x.d64", "b/a.D64", "b/z.d64")
    ]
    assert found.problems == []


def test_a_folder_that_cannot_be_read_is_noted(tmp_path: Path) -> None:
    found = Walk()
    assert list(list_below(str(tmp_path / "nowhere"), found)) == []
    assert found.unread == [str(tmp_path / "nowhere")]
    assert "cannot read the folder" in found.problems[0]


WRONG = {
    "empty.d64": b"",
    "short.d64": bytes(1000),
    "long.d64": bytes((1 << 20) + 1),
    "longer.d64": bytes((1 << 21) + 1),
    "cut.d64.gz": gzip.compress(os.urandom(5000))[:-200],
    "bomb.d64.gz": gzip.compress(bytes(1 << 24)),
    "garbage.d64.gz": b"\x1f\x8b\x08" + b"?" * 500,
}


@pytest.mark.parametrize("name", WRONG)
def test_what_is_no_image_gives_one_sentence(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(WRONG[name])
    with pytest.raises((CannotRead, NotAnImage)) as caught:
        open_image(tmp_path / name)
    assert not isinstance(caught.value, CannotOpen)
    assert name in str(caught.value)
    assert "\n" not in str(caught.value)


def test_what_cannot_be_opened_may_be_another_time(tmp_path: Path) -> None:
    with pytest.raises(CannotOpen, match="cannot read"):
        read_source(Source(str(tmp_path / "no"), str(tmp_path / "no")))
    with pytest.raises(CannotRead, match="no file"):
        source_of(tmp_path / "no")
    with pytest.raises(CannotRead, match="is a folder"):
        source_of(tmp_path)


def test_a_path_longer_than_any_file_has_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(CannotRead, match="there is no file"):
        source_of(f"{tmp_path}/{'a' * 5000}.zip/a.d64")


def test_members_that_are_not_there_or_too_large(tmp_path: Path) -> None:
    path = archive(tmp_path / "a.zip", {"big.d64": bytes((1 << 20) + 1)})
    with pytest.raises(CannotRead, match="more than any disk image"):
        open_image(f"{path}/big.d64")
    with pytest.raises(CannotRead, match="no member"):
        open_image(f"{path}/none.d64")


def test_a_locked_member(tmp_path: Path) -> None:
    data = bytearray(archive(tmp_path / "a.zip", {"a.d64": IMAGE}).read_bytes())
    data[6] |= 1
    data[data.rfind(b"PK\x01\x02") + 8] |= 1
    (tmp_path / "a.zip").write_bytes(data)
    with pytest.raises(CannotRead, match="broken in its archive"):
        open_image(tmp_path / "a.zip" / "a.d64")


@pytest.mark.parametrize("method", [zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_a_member_that_no_unpacker_takes(tmp_path: Path, method: int) -> None:
    """Each unpacker of the standard library has an error of its own."""
    with zipfile.ZipFile(tmp_path / "a.zip", "w", method) as opened:
        opened.writestr("a.d64", random.Random(3).randbytes(1000) + IMAGE[1000:])
    data = bytearray((tmp_path / "a.zip").read_bytes())
    data[300:400] = bytes(byte ^ 0x5A for byte in data[300:400])
    (tmp_path / "a.zip").write_bytes(data)
    with pytest.raises(CannotRead, match="broken in its archive") as caught:
        open_image(tmp_path / "a.zip")
    assert not isinstance(caught.value, CannotOpen)


def test_broken_archives_are_never_a_crash(tmp_path: Path) -> None:
    contents = io.BytesIO()
    with zipfile.ZipFile(contents, "w", zipfile.ZIP_DEFLATED) as opened:
        opened.writestr("a.d64", random.Random(1).randbytes(500) * 400)
        opened.writestr("möwe/b.d64", bytes(174_848))
    good = contents.getvalue()
    chance = random.Random(2)
    path = tmp_path / "broken.zip"
    read = refused = 0
    for _ in range(800):
        data = bytearray(good)
        first = chance.choice((0, len(data) - 300, len(data) - 300))
        for _ in range(chance.randint(1, 6)):
            data[chance.randrange(first, len(data))] = chance.randrange(256)
        path.write_bytes(data[: chance.randrange(len(data))] if chance.random() < 0.1 else data)
        with Reader() as reader:
            for source in members(str(path), Walk()):
                try:
                    reader.read(source)
                    read += 1
                except CannotRead as error:
                    assert str(error).isprintable()  # noqa: PT017 (both outcomes are right)
                    refused += 1
    assert read > 50
    assert refused > 50


def test_a_reader_keeps_the_archive_open(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = archive(tmp_path / "a.zip", {f"{i}.d64": IMAGE for i in range(5)})
    other = archive(tmp_path / "b.zip", {"x.d64": IMAGE})
    sources = [*members(str(path), Walk()), *members(str(other), Walk())]
    opened: list[str] = []
    real = zipfile.ZipFile

    class Counting(real):  # type: ignore[misc, valid-type]
        def __init__(self, file: str) -> None:
            opened.append(file)
            super().__init__(file)

    monkeypatch.setattr(zipfile, "ZipFile", Counting)
    with Reader() as reader:
        found = [reader.read(source) for source in sources]
    assert {each.data for each in found} == {IMAGE}
    assert found[0].mtime_ns == path.stat().st_mtime_ns
    assert opened == [str(path), str(other)]


@pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX")
def test_a_pipe_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.d64")
    with pytest.raises(CannotOpen, match="no regular file"):
        open_image(tmp_path / "pipe.d64")
    found = Walk()
    assert list(walk([str(tmp_path)], found)) == []
    assert "pipe.d64" in found.problems[0]


@pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX")
def test_a_pipe_named_like_an_archive_is_refused_at_once(tmp_path: Path) -> None:
    pipe = str(tmp_path / "pipe.zip")
    os.mkfifo(pipe)
    with pytest.raises(CannotRead, match="no regular file"):
        source_of(pipe)
    with pytest.raises(CannotOpen, match="no regular file"):
        read_source(Source(f"{pipe}/a.d64", pipe, "a.d64"))
