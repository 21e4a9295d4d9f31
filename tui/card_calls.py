"""What the actions on a card share: options, the plan, and how it is shown."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator

import humanize

from formats.visible import visible
from loadglass.card.asked import asked_for
from loadglass.card.choose import LeftOut, Rules
from loadglass.card.dest import open_card
from loadglass.card.device import CardTrouble, Device
from loadglass.card.fill import Filled
from loadglass.card.folders import ENTRIES_LIMIT, Arrangement, Layout
from loadglass.card.manifest import Entry
from loadglass.card.plan import Pick, Plan, State, Wishes, make_plan
from loadglass.card.totals import Waiting
from loadglass.shelf.clocks import reclock
from loadglass.shelf.filters import FilterError
from tui.amounts import byte_amount, duration_text, second_amount
from tui.calls import WrongCall
from tui.progress_line import shown_job
from tui.rig_calls import known_rigs, named_rig
from tui.shelves import kept_shelf
from tui.tables import Column, print_table, say, warn
from tui.wording import NOTHING, count_text, seconds_text

DEFAULT_RIG = "fast-card"
CAUTION = (
    "A card that is pulled while power is on can lose what FAT itself loses: folders, or files "
    "written last. Switch the machine off before you plug cartridges, drives or cards in or "
    "out, as their instructions say."
)
STATE_WORDS = {
    State.NEW: "new",
    State.THERE: "there already",
    State.OTHER: "newer",
    State.CHANGED: "changed on the card",
}
KEPT_OR_REPLACED = {
    False: "kept as it is: changed on the card since it was put there",
    True: "replaced by the shelf's image: changed on the card since it was put there",
}
"""Whether replacing is wished."""


def dest_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("dest", metavar="DEST", help="the folder where the card is mounted")


def plan_options(parser: argparse.ArgumentParser) -> None:
    """What goes onto the card, and how it is laid out."""
    what = parser.add_argument_group(
        "what is taken",
        "without --where your picks; without picks every sound or quirky image that has "
        "something to load",
    )
    what.add_argument("--where", metavar="FILTER", help="a filter, as `loadglass shelf` takes it")
    what.add_argument("--even-damaged", action="store_true", help="damaged images too")
    what.add_argument(
        "--mended", action="store_true", help="mended copies of damaged images, marked as such"
    )
    what.add_argument(
        "--longest",
        metavar="TIME",
        help="no image whose programs take longer on the rig, all in a row",
    )
    what.add_argument(
        "--every-copy",
        action="store_true",
        help="images of the same content all of them, not the soundest and best named alone",
    )
    what.add_argument(
        "--whole-sets", action="store_true", help="all disks of a title together, or none"
    )
    what.add_argument("--budget-bytes", metavar="SIZE", help="take up at most so much of the card")
    what.add_argument("--budget-time", metavar="TIME", help="at most so much waiting in total")
    what.add_argument(
        "--by-rating",
        action="store_true",
        help="within a budget the highest sum of ratings; otherwise the most titles",
    )
    what.add_argument(
        "--rig",
        default=DEFAULT_RIG,
        metavar="R",
        help=f"the drive and loader that the card is for ({DEFAULT_RIG})",
    )
    how = parser.add_argument_group("how it is laid out")
    how.add_argument("--layout", choices=[each.value for each in Layout], help="flat if not said")
    how.add_argument(
        "--entries",
        type=int,
        metavar="N",
        help=f"at most so many images in a folder ({ENTRIES_LIMIT})",
    )
    how.add_argument(
        "--remove-unpicked",
        action="store_true",
        help="remove what loadglass put there earlier and is not taken now",
    )
    how.add_argument(
        "--replace-changed",
        action="store_true",
        help="put the shelf's image in the place of one that a drive has changed on the card",
    )


def planned(args: argparse.Namespace) -> tuple[Device, Plan]:
    """The card, and the plan that a call asks for. Raises WrongCall, CardTrouble, Stopped."""
    rigs = known_rigs()
    rules = Rules(
        rig=named_rig(rigs, args.rig),
        even_damaged=args.even_damaged,
        longest_s=second_amount("--longest", args.longest),
        every_copy=args.every_copy,
        whole_sets=args.whole_sets,
        budget_bytes=byte_amount("--budget-bytes", args.budget_bytes),
        budget_s=second_amount("--budget-time", args.budget_time),
        by_rating=args.by_rating,
    )
    wishes = Wishes(_arrangement(args), args.remove_unpicked, args.mended, args.replace_changed)
    device = open_card(args.dest)
    all_rigs = list(rigs.rigs.values())
    with kept_shelf(all_rigs) as opened, shown_job() as job:
        reclock(opened.index, all_rigs, job)
        try:
            candidates = asked_for(
                opened.shelf, opened.index, opened.choices, args.where, args.whole_sets
            )
        except FilterError as error:
            raise WrongCall(f"--where: {error}") from error
        if not candidates and not opened.shelf.count(""):
            raise CardTrouble("the shelf is empty: `loadglass survey DIR` fills it")
        surveyed = opened.index.roots()
        plan = make_plan(device, candidates, rules, wishes, surveyed=surveyed, job=job)
    for note in plan.notes:
        warn(note)
    return device, plan


def _arrangement(args: argparse.Namespace) -> Arrangement | None:
    if args.entries is not None and args.entries < 2:
        raise WrongCall(f"--entries {args.entries}: a folder takes at least 2")
    if args.layout is None and args.entries is None:
        return None
    return Arrangement(Layout(args.layout or Layout.FLAT), args.entries or ENTRIES_LIMIT)


# -- as JSON


def pick_record(path: str, entry: Entry) -> dict[str, object]:
    return {
        "path": path,
        "target": entry.target,
        "bytes": entry.bytes,
        "sha256": entry.sha256,
        "title": entry.title,
        "verdict": entry.verdict.value,
        "mended": entry.mended,
    }


def left_out_records(left_out: Iterable[LeftOut]) -> list[dict[str, str]]:
    return [{"path": each.path, "why": each.why} for each in left_out]


# -- for people


def print_plan(plan: Plan, limit: int | None = None) -> None:
    """Picks, what is left out and why, what goes, and the sums; `limit`: lines of each list."""
    if plan.picks:
        print_table(
            [
                Column("On the card"),
                Column("Title", wraps=True),
                Column(plan.stock, right=True),
                Column(plan.fast, right=True),
                Column("State"),
            ],
            [
                [
                    pick.entry.target,
                    ": ".join(filter(None, (pick.entry.shown_title, pick_remark(plan, pick)))),
                    seconds_text(pick.entry.stock_s),
                    seconds_text(pick.entry.fast_s),
                    STATE_WORDS[pick.state],
                ]
                for pick in plan.picks[:limit]
            ],
        )
        _say_rest(len(plan.picks), limit)
    print_left_out(plan.left_out, limit)
    for says, entries in (
        (f"Not taken any more, and {KEPT_OR_REPLACED[False]}:", plan.changed),
        ("To be removed, for it is not taken any more:", plan.removals),
        (
            "On the card from earlier, and left there (--remove-unpicked takes it off):",
            plan.staying,
        ),
    ):
        if entries:
            say("")
            say(says)
            for entry in entries[:limit]:
                say(f"  {entry.target}")
            _say_rest(len(entries), limit)
    say("")
    _print_sums(plan)


def print_left_out(left_out: Iterable[LeftOut], limit: int | None = None) -> None:
    listed = list(left_out)
    if listed:
        say("")
        say("Left out:")
        for each in listed[:limit]:
            say(f"  {visible(each.path)}: {each.why}")
        _say_rest(len(listed), limit)


def _say_rest(count: int, limit: int | None) -> None:
    if limit is not None and count > limit:
        say(f"  and {count - limit:,} more, as `loadglass card plan` shows")


def _print_sums(plan: Plan) -> None:
    say(f"{plan_text(plan)} on {visible(plan.dest)}")
    if plan.choice.limited:
        say(how_good(plan))
    for remark in remarks(plan):
        say(remark)
    say(f"every program of each once: {waiting_text(plan.stock, plan.fast, plan.waiting)}")


def plan_text(plan: Plan) -> str:
    """`2 images, 349.7 kB, in 1 folder; copying takes up 360.4 kB of the card, 7.8 GB free`.

    The first size is of the images' bytes, the second of clusters.
    """
    folders = len({pick.entry.target.rpartition("/")[0] for pick in plan.picks})
    room = f"copying takes up {humanize.naturalsize(plan.copied_bytes)} of the card"
    free_bytes = plan.room.free_bytes
    free = "room unknown" if free_bytes is None else f"{humanize.naturalsize(free_bytes)} free"
    return (
        f"{count_text(len(plan.picks), 'image')}, {humanize.naturalsize(plan.bytes)}, "
        f"in {count_text(folders, 'folder')}; {room if plan.copied_bytes else 'nothing to copy'}, "
        f"{free}"
    )


def filled_text(plan: Plan, filled: Filled) -> str:
    """`2 images copied and compared, 349.7 kB; 1 there already; 0 removed; 3 left there`."""
    copied = count_text(len(filled.copied), "image")
    size = humanize.naturalsize(sum(entry.bytes for entry in filled.copied))
    stays = f"; {len(plan.staying):,} from earlier left there" if plan.staying else ""
    return (
        f"{copied} copied and compared, {size}" if filled.copied else "nothing copied"
    ) + f"; {len(filled.there):,} there already; {len(filled.removed):,} removed{stays}"


def waiting_text(stock: str, fast: str, waiting: Waiting) -> str:
    """`23 min on stock-card, 3 min on fast-card: 20 min saved (2 without a time)`."""
    saved = duration_text(waiting.saved_s) if waiting.saved_s > 0 else NOTHING
    unknown = f" ({waiting.unknown:,} without a time)" if waiting.unknown else ""
    return (
        f"{duration_text(waiting.stock_s)} on {stock}, {duration_text(waiting.fast_s)} on {fast}: "
        f"{saved} saved{unknown}"
    )


def pick_remark(plan: Plan, pick: Pick) -> str:
    """What is to be said of an image beside its state; empty: nothing."""
    if pick.state is State.CHANGED:
        return KEPT_OR_REPLACED[plan.replace_changed]
    return f"nothing to load: {pick.candidate.why}" if pick.candidate.why else ""


def remarks(plan: Plan) -> Iterator[str]:
    """Sentences on what a plan has beside titles to copy."""
    if plan.nothing_to_load:
        yield f"{count_text(plan.nothing_to_load, 'image')} with nothing to load among them"
    there = sum(pick.state is State.THERE for pick in plan.picks)
    if there:
        yield f"{there:,} there already by size and time: a fill reads and compares all of it"


def how_good(plan: Plan) -> str:
    """How much better another choice could be at most, in a sentence."""
    choice = plan.choice
    titles = count_text(choice.titles, "title")
    if choice.by_rating:
        together = f"{titles} with ratings of {choice.rating:,} together"
        if choice.more_rating:
            return f"{together}; no choice has more than {choice.rating + choice.more_rating:,}"
        return f"{together}; no choice within the limits has more"
    if choice.more_titles:
        return f"{titles}; no choice has more than {choice.titles + choice.more_titles:,}"
    return f"{titles}; no choice within the limits has more"
