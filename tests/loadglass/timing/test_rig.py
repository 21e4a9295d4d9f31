import dataclasses

import pytest

from formats.geometry import LAYOUTS, TRACKS_35, TRACKS_80
from loadglass.timing.rig import FIGURES, RigError, RigFile, figure_names, layouts_of
from loadglass.timing.rig_files import BUILT_IN, to_toml

# The table of the load-time model, in the order of BUILT_IN, and the spread. Rules of thumb and
# drive documentation of the 1980s, from memory.
TABLE = {
    "command": (120, 120, 120, 120, 0.30),
    "setup": (0, 0, 900, 900, 0.30),
    "byte": (2.0, 1.75, 0.21, 0.21, 0.10),
    "block": (5, 5, 3, 3, 0.30),
    "decode": (20, None, 12, None, 0.25),
    "lead": (12, None, 0, None, 0.40),
    "scan": (10, 2, 10, 2, 0.30),
    "fetch": (None, 1.5, None, 1.5, 0.30),
    "step": (25, None, 25, None, 0.30),
    "settle": (20, None, 20, None, 0.30),
    "spin_up": (900, None, 900, None, 0.30),
    "rpm": (300, None, 300, None, 0.01),
}


@pytest.mark.parametrize("column", range(4), ids=BUILT_IN)
def test_built_in_rigs_have_the_figures_of_the_table(rigs, column):
    rig = rigs[BUILT_IN[column]]
    expected = {
        name: (row[column], row[4]) for name, row in TABLE.items() if row[column] is not None
    }
    assert {name: (f.value, f.spread) for name, f in rig.figures.items()} == expected
    assert all(figure.source for figure in rig.figures.values())
    assert f"{rig.loader}-{rig.drive}" == rig.name
    assert rig.order == "interleave"


def test_no_stock_byte_is_faster_than_the_bus_allows(rigs):
    """8 bits of 80 µs and 160 µs around them: the bus's published timing table, programmer's
    reference of the 1980s, from memory."""
    best_ms = (8 * 80 + 160) / 1000
    assert best_ms == 0.8
    for rig in rigs.values():
        if rig.loader == "stock":
            assert rig.value("byte") * (1 - rig.figures["byte"].spread) > best_ms


def test_spinning_rigs_mount_what_has_bit_cells(rigs):
    assert [layout.name for layout in LAYOUTS if rigs["stock-spinning"].mounts(layout)] == [
        "35-track",
        "40-track",
        "42-track",
        "70-track",
    ]
    assert all(rigs["fast-card"].mounts(layout) for layout in LAYOUTS)


def test_value_of_a_figure_that_the_drive_lacks_is_zero(rigs):
    assert rigs["stock-card"].value("step") == 0


def test_with_values_changes_those_alone(rigs):
    changed = rigs["fast-card"].with_values({"byte": 0.2})
    assert changed.value("byte") == 0.2
    assert changed.figures["byte"].spread == 0.10
    assert changed.figures["block"] == rigs["fast-card"].figures["block"]
    assert rigs["fast-card"].value("byte") == 0.21


@pytest.fixture
def text(rigs):
    return to_toml(dataclasses.replace(rigs["fast-spinning"], name="pier-four"))


def read(text: str | bytes, base=None):
    data = text.encode() if isinstance(text, str) else text
    return RigFile.parse(data, "pier.toml").rig(base)


def test_a_whole_file_reads_back(text, rigs):
    rig = read(text)
    assert rig == dataclasses.replace(rigs["fast-spinning"], name="pier-four")


def test_layouts_default_to_those_of_the_drive(text):
    lines = [line for line in text.splitlines() if not line.startswith("layouts")]
    assert read("\n".join(lines)).layouts == tuple(layouts_of("spinning"))


BYTE = "[figures.byte]\nvalue = 0.21"


@pytest.mark.parametrize(
    ("old", "new", "key", "allowed"),
    [
        ('name = "pier-four"', "", "name is missing", "text"),
        ('name = "pier-four"', 'name = "Pier 4"', "name", "lower-case letters, digits and single"),
        ('name = "pier-four"', 'name = "../x"', "name", "lower-case"),
        ('name = "pier-four"', f'name = "{"a" * 41}"', "name", "40 at the most"),
        ('name = "pier-four"', "name = 4", "name", "one line of plain text"),
        ('name = "pier-four"', 'nam = "pier-four"', "nam is not a key", "name, description"),
        ('drive = "spinning"', 'drive = "tape"', "drive", '"spinning" or "card"'),
        ('drive = "spinning"', "drive = [1]", "drive", '"spinning" or "card"'),
        ('drive = "spinning"', "", "drive is missing", '"spinning" or "card"'),
        ('loader = "fast"', 'loader = "quick"', "loader", '"stock" or "fast"'),
        ('loader = "fast"', "", "loader is missing", '"stock" or "fast"'),
        ('order = "interleave"', 'order = "random"', "order", '"interleave" or "any"'),
        ('"70-track"]', '"80-track"]', "layouts", "35-track, 40-track, 42-track, 70-track"),
        ('"70-track"]', "70]", "layouts", "a list of some of"),
        ("description = ", 'description = "a\\u001bb" # ', "description", "one line of plain text"),
        (BYTE, "[figures.bite]\nvalue = 0.21", "figures.bite is not a key", "command, setup, byte"),
        (BYTE, "[figures.fetch]\nvalue = 0.21", "figures.fetch is not a key", "spinning drive"),
        (
            BYTE,
            f"{BYTE}\nunits = 1",
            "figures.byte.units is not a key",
            "value, unit, spread, source",
        ),
        (BYTE, "[figures.byte]", "figures.byte.value is missing", "value, unit, spread, source"),
        (BYTE, "[figures.byte]\nvalue = -1", "figures.byte.value is -1", "from 0 to 100 ms"),
        (BYTE, "[figures.byte]\nvalue = nan", "figures.byte.value is nan", "from 0 to 100 ms"),
        (BYTE, "[figures.byte]\nvalue = inf", "figures.byte.value is inf", "from 0 to 100 ms"),
        (BYTE, f"[figures.byte]\nvalue = {'9' * 400}", "figures.byte.value is a very", "0 to 100"),
        (BYTE, "[figures.byte]\nvalue = true", "figures.byte.value is true", "from 0 to 100 ms"),
        (BYTE, '[figures.byte]\nvalue = "2 ms"', 'figures.byte.value is "2 ms"', "from 0 to 100"),
        ("value = 300.0", "value = 0", "figures.rpm.value is 0", "from 60 to 3600 rpm"),
        ('unit = "rpm"', 'unit = "ms"', "figures.rpm.unit", '"rpm"'),
        ("spread = 0.01", "spread = 1", "figures.rpm.spread", "from 0 to 0.2"),
        ("spread = 0.1\n", "spread = 10\n", "figures.byte.spread is 10", "from 0 to 1"),
        ("spread = 0.1\n", "spread = -0.1\n", "figures.byte.spread is -0.1", "from 0 to 1"),
        ("spread = 0.1\n", "", "figures.byte.spread is missing", "value, unit, spread, source"),
        (BYTE, f'[figures.byte]\nsource = ""\n{BYTE}', "not valid TOML", "line"),
        (BYTE, "[figures.byte", "not valid TOML", "line"),
        ("[figures.command]", "x = " + "[" * 5000 + "\n[figures.command]", "nested", "deeply"),
        ("[figures.command]", "[figures.command]\n" + "#" * 70_000, "65536 bytes", "longer"),
    ],
)
def test_a_slip_is_told_with_file_key_and_what_is_allowed(text, old, new, key, allowed):
    assert old in text
    with pytest.raises(RigError) as raised:
        read(text.replace(old, new, 1))
    message = str(raised.value)
    assert message.startswith("pier.toml: ")
    assert key in message
    assert allowed in message
    assert "\n" not in message


def test_not_utf8(text):
    with pytest.raises(RigError, match=r"pier\.toml: is not UTF-8 text \(byte 6\)"):
        read(b"name =\xff" + text.encode())


@pytest.mark.parametrize("drive", ["spinning", "card"])
def test_every_figure_of_the_drive_is_needed(rigs, drive):
    rig = rigs[f"stock-{drive}"]
    for name in figure_names(drive):
        figures = {key: figure for key, figure in rig.figures.items() if key != name}
        text = to_toml(dataclasses.replace(rig, figures=figures))
        with pytest.raises(RigError, match=rf"figures\.{name} is missing; a {drive} drive needs"):
            read(text)


def test_a_rig_on_which_nothing_takes_time_is_refused(rigs):
    """What it saves could not be told: it would be endlessly fast."""
    rig = rigs["fast-card"]
    nothing = to_toml(rig.with_values(dict.fromkeys(rig.figures, 0.0)))
    with pytest.raises(RigError, match="every figure is 0"):
        read(nothing)
    assert read(nothing.replace("value = 0.0", "value = 0.1", 1)).value("command") == 0.1


def test_hostile_names_of_files_and_keys_are_shown_harmlessly():
    with pytest.raises(RigError) as raised:
        RigFile.parse(b'"\\u001b[2J" = 1', "x\x1b[2J.toml")
    assert str(raised.value).isprintable()


DERIVED = 'name = "pier-five"\n'


def test_a_derived_rig_inherits_all_but_what_it_gives(rigs):
    base = rigs["fast-card"]
    rig = read(
        DERIVED
        + '[figures.byte]\nvalue = 0.19\nsource = "my stopwatch"\n'
        + '[figures.block]\nspread = 0.05\nsource = "ten readings"\n',
        base,
    )
    assert (rig.drive, rig.loader, rig.order, rig.layouts) == (
        base.drive,
        base.loader,
        base.order,
        base.layouts,
    )
    assert rig.based_on == "fast-card"
    assert dataclasses.astuple(rig.figures["byte"]) == (0.19, "ms", 0.10, "my stopwatch")
    assert dataclasses.astuple(rig.figures["block"]) == (3, "ms", 0.05, "ten readings")
    assert rig.figures["setup"] == base.figures["setup"]


@pytest.mark.parametrize(
    ("figure", "says"),
    [
        ("value = 0.19", "figures.byte.source is missing"),
        ('source = "my stopwatch"', "figures.byte gives only a source"),
        ('value = 0.19\nsource = " "', "figures.byte.source is empty"),
    ],
)
def test_a_changed_figure_says_where_it_is_from(rigs, figure, says):
    with pytest.raises(RigError, match=says):
        read(f"{DERIVED}[figures.byte]\n{figure}", rigs["fast-card"])


def test_a_derived_rig_on_another_drive_needs_that_drives_figures(rigs):
    change = f'{DERIVED}drive = "card"\n'
    with pytest.raises(RigError, match=r"figures\.fetch is missing"):
        read(change, rigs["stock-spinning"])
    fetch = '[figures.fetch]\nvalue = 2\nunit = "ms"\nspread = 0.3\nsource = "a guess"\n'
    rig = read(change + fetch, rigs["stock-spinning"])
    assert list(rig.figures) == figure_names("card")
    assert rig.mounts(TRACKS_80) and rig.mounts(TRACKS_35)


def test_every_figure_belongs_to_some_drive():
    assert set(figure_names("spinning")) | set(figure_names("card")) == set(FIGURES)
