"""Images that the fuzzer (fuzz_audit.py) found a fault of ours with, made small."""

from __future__ import annotations

from formats.audit import audit
from formats.compose import NewFile, compose
from formats.geometry import BLOCK_BYTES, TRACKS_35
from formats.image import DiskImage
from formats.mend import mend
from tests.proofs.scene import DESKTOP_KIND, SIDE, STRUCTURE, USR, Scene


def test_a_broken_index_is_not_cut_so_that_it_names_the_blocks_of_a_whole_file() -> None:
    files = [
        NewFile(b"LOTSENBUCH", b"\x40" * 600, USR),
        NewFile(b"LEUCHTTURM", b"\x01\x08" + bytes(range(250)) * 2),
    ]
    scene = Scene(TRACKS_35, compose(b"GRAUHAVEN", files))
    index, blank = scene.files[0].chain[0], scene.outside()[0]
    scene.put(index, bytes(BLOCK_BYTES))
    scene.put(index, scene.place(scene.files[1].chain[1]), at=2)
    scene.link(index, scene.place(blank))
    scene.set_field(0, SIDE, scene.place(scene.outside()[1]))
    scene.set_field(0, STRUCTURE, [1])
    scene.set_field(0, DESKTOP_KIND, [7])
    before = audit(DiskImage.from_bytes(scene.bytes))
    assert [file.whole for file in before.files] == [False, True]

    after = mend(before).after

    assert [file.whole for file in after.files] == [False, True]
