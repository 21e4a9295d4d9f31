"""Every key of the views in one place: what it does, in a word and in a sentence.

The same key means the same on every view. The word stands in the footer, the sentence in the
help and in the command palette. Keys within a table (arrows and such) are the table's own.
"""

from __future__ import annotations

from textual.binding import Binding

FILTER_SAYS = "Filter the shelf; arrow up brings the last filter back"

EVERYWHERE = (
    Binding("1", "view('shelf')", "Shelf", show=False, tooltip="Shelf: all images, one a row"),
    Binding("2", "view('disk')", "Disk", show=False, tooltip="Disk: one image, its files and map"),
    Binding(
        "3", "view('clock')", "Clock", show=False, tooltip="Clock: where the time of a load goes"
    ),
    Binding(
        "4", "view('bench')", "Bench", show=False, tooltip="Bench: stopwatch, readings, calibrating"
    ),
    Binding(
        "5", "view('card')", "Card", show=False, tooltip="Card: what goes on it, filling, checking"
    ),
    Binding("escape", "back", "Back", tooltip="Back to where you came from"),
    Binding("slash", "filter", "Filter", show=False, key_display="/", tooltip=FILTER_SAYS),
    Binding("x", "stop_work", "Stop", tooltip="Stop the work that is going on"),
    Binding("o", "options", "Options", show=False, tooltip="Options: colours, glyphs"),
    Binding("question_mark", "help", "Help", key_display="?", tooltip="Help: every key, and how"),
    Binding("q", "quit", "Quit", tooltip="Quit loadglass"),
    Binding("ctrl+q", "quit", "Quit", show=False, priority=True, tooltip="Quit loadglass"),
    Binding("ctrl+p", "command_palette", "Find", tooltip="Find an action by its words"),
)

BESIDE = Binding("y", "beside", "Twins", show=False, tooltip="Twins and set of this image")

SHELF = (
    Binding("slash", "filter", "Filter", key_display="/", tooltip=FILTER_SAYS),
    Binding("s", "sort", "Sort", tooltip="Sort by a column"),
    Binding("S", "turn", "Turn", show=False, tooltip="Turn the order round"),
    Binding("d", "drive", "Rig", tooltip="Rig: times on the next one, SD card, spinning, own"),
    Binding("space", "pick", "Pick", tooltip="Pick for the card, or take back"),
    Binding("r", "rate", "Rate", tooltip="Rate from 1 to 5"),
    Binding("g", "tag", "Tag", tooltip="Tag with words of your own"),
    Binding("v", "preview", "Preview", tooltip="Show or hide the image under the cursor"),
    Binding("h", "histogram", "Spread", tooltip="Show or hide how the load times are spread"),
    Binding("u", "survey", "Survey", tooltip="Survey folders: bring the shelf up to date"),
    Binding("escape", "close", "Back", tooltip="Close what is open, then take the filter away"),
    BESIDE,
    Binding(
        "delete",
        "take_off",
        "Take off",
        show=False,
        tooltip="Take off the shelf, or put back; no file is touched",
    ),
    Binding(
        "P",
        "pick_all",
        "Pick all",
        show=False,
        tooltip="Pick all that the filter shows; again: all back, which asks",
    ),
    Binding(
        "w", "app.other_shelf", "Samples", show=False, tooltip="To the samples, and back to yours"
    ),
    Binding(
        "i", "app.report", "Report", show=False, tooltip="What the last survey did and could not do"
    ),
)

DISK = (
    Binding("f", "pane('files')", "Files", show=False, tooltip="Files: the directory"),
    Binding("m", "pane('map')", "Map", show=False, tooltip="Map: where every block lies"),
    Binding("t", "pane('times')", "Times", show=False, tooltip="Times: how long it loads, and why"),
    Binding("a", "pane('audit')", "Audit", show=False, tooltip="Audit: whether the image is whole"),
    Binding("c", "pane('contents')", "Contents", show=False, tooltip="Contents: what is in it"),
    Binding("right,tab", "pane_on(1)", "Next", show=False, tooltip="To the next pane"),
    Binding("left,shift+tab", "pane_on(-1)", "Before", show=False, tooltip="To the pane before"),
    Binding("space", "play", "Play", tooltip="Walk along the file's chain, or stop"),
    Binding("full_stop", "step(1)", "On", key_display=".", tooltip="One block on along the chain"),
    Binding("comma", "step(-1)", "Back a block", show=False, tooltip="One block back along it"),
    Binding("n", "form", "Form", tooltip="Next form: listing, bytes, text; glyphs, order"),
    Binding("d", "drive", "Rig", tooltip="Rig: times on the next one, SD card, spinning, own"),
    Binding("l", "letters", "Letters", tooltip="Names in the machine's other character set"),
    Binding("ctrl+s", "save", "Save", tooltip="Save the chosen file to the computer"),
    BESIDE,
    Binding("M", "mend", "Mend", show=False, tooltip="Mend: write a repaired copy of the image"),
)

TWINS = (
    Binding("space", "pick", "Pick", tooltip="Pick for the card, or take back"),
    Binding("minus", "take_out", "Out", key_display="-", tooltip="Take this disk out of its set"),
    Binding(
        "plus", "put_into", "Into", key_display="+", tooltip="Put this disk with another title's"
    ),
    Binding(
        "equals_sign",
        "go_by_names",
        "By name",
        key_display="=",
        tooltip="Forget what you said of this disk's set, and go by its name",
    ),
    Binding("z", "undo", "Undo", tooltip="Undo the last correction of a set"),
)

CLOCK = (
    Binding("right,tab", "pane_on(1)", "Next", tooltip="To the next pane"),
    Binding("left,shift+tab", "pane_on(-1)", "Before", show=False, tooltip="To the pane before"),
    Binding("f", "file", "File", tooltip="File: choose what is clocked, one file or all programs"),
    Binding("d", "drive", "Rig", tooltip="Rig: draw the load on the next drive and loader"),
    Binding("D", "against", "Against", tooltip="Against: choose the rig that it is compared with"),
)

STOPWATCH = (
    Binding("space", "press", "Start/stop", tooltip="Start the stopwatch, or stop it"),
    Binding("k", "keep", "Keep", tooltip="Keep the reading in the bench log"),
    Binding("backspace", "throw_away", "Throw away", tooltip="Throw the reading away"),
)
REMARK = Binding("e", "remark", "Remark", tooltip="Write a remark for the reading")

BENCH = (
    *STOPWATCH,
    Binding("C", "calibrate", "Calibrate", tooltip="Calibrate: fit this rig to its readings"),
    Binding("d", "drive", "Rig", tooltip="Rig: choose the drive and loader that are timed"),
    Binding(
        "R", "remove_rig", "Remove rig", show=False, tooltip="Remove this rig of your own; asks"
    ),
    Binding("f", "file", "File", tooltip="File: choose what is timed, one file or all programs"),
    Binding("plus", "add", "Add", key_display="+", tooltip="Add a reading taken otherwise"),
    REMARK,
    Binding("H", "hung", "Hung", show=False, tooltip="Hung: which block was on its way"),
    Binding(
        "A", "sums", "Add up", show=False, tooltip="Add up: is what was loaded what is on the disk?"
    ),
    Binding("delete", "remove", "Remove", show=False, tooltip="Remove the reading from the log"),
)

CARD = (
    Binding("tab,right", "pane_on(1)", "Next", tooltip="To the next pane: basket, rules, plan"),
    Binding("shift+tab,left", "pane_on(-1)", "Before", show=False, tooltip="To the pane before"),
    Binding("space,delete", "pick", "Take back", tooltip="Take back out of the basket"),
    Binding("plus", "add", "Add", key_display="+", tooltip="Add all that a filter shows"),
    Binding("p", "plan", "Plan", tooltip="Plan: what goes onto the card, and where"),
    Binding("F", "fill", "Fill", tooltip="Fill the card; the plan is shown and you are asked"),
    Binding("a", "check", "Check", tooltip="Check the card against its list and the shelf"),
    Binding("k", "keep", "Bring back", tooltip="Bring back what the machine changed on the card"),
    Binding("c", "contents", "Contents", tooltip="Save the card's contents: text, HTML, CSV"),
    Binding("f", "folder", "Folder", show=False, tooltip="Name the folder where the card is"),
    Binding("d", "drive", "Rig", show=False, tooltip="Rig: the loader that the card is for"),
    Binding(
        "equals_sign",
        "as_usual",
        "As usual",
        show=False,
        key_display="=",
        tooltip="Forget what you changed in the rules of the card, and go by the usual ones",
    ),
    Binding("n", "part", "Next part", show=False, tooltip="To the next part of the list"),
    Binding("r", "rate", "Rate", show=False, tooltip="Rate from 1 to 5"),
    Binding("g", "tag", "Tag", show=False, tooltip="Tag with words of your own"),
    Binding("s", "sort", "Sort", show=False, tooltip="Sort by a column"),
)
