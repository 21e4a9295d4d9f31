"""The command palette: every action, by plain words; those of the view one is on come first."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import TYPE_CHECKING, cast

from textual.app import App
from textual.command import CommandList, CommandPalette, DiscoveryHit, Hit, Hits, Provider
from textual.content import Content
from textual.screen import Screen

from tui import keys
from tui.screens.help import described_bindings
from tui.widgets.where_bar import VIEWS

if TYPE_CHECKING:
    from tui.app import LoadglassApp

Action = tuple[str, str, Callable[[], object]]
"""Its sentence, its key, and what does it."""
OF_VIEWS = {
    "shelf": keys.SHELF,
    "disk": keys.DISK,
    "clock": keys.CLOCK,
    "bench": keys.BENCH,
    "card": keys.CARD,
}
"""What can be done on each."""
NEEDS = {
    "calibrate": "keep a reading of this rig first: space times a load, k keeps it",
    "throw_away": "no reading is waiting",
    "save": "choose a file first",
    "app.report": "nothing has been surveyed yet",
    "remove_rig": "this rig is not one of your own; d chooses another",
    "as_usual": "every rule of the card is as usual already",
    "rate": "the basket is empty: space picks an image on the Shelf",
    "play": "show the map (m) and choose a file first",
}
"""By action what it needs, where it cannot be done."""
ELSEWHERE = 0.9
"""What is done on another view counts for so much less than what can be done here."""


class Palette(CommandPalette):
    """The toolkit's, but for page keys that come before its list has been drawn."""

    def _action_command_list(self, action: str) -> None:
        found = self.query_one(CommandList)
        if not action.startswith("page") or (found.highlighted or 0) in found._index_to_line:
            super()._action_command_list(action)


class Actions(Provider):
    """Actions are those that have a key; so what the palette finds, it also teaches."""

    async def discover(self) -> Hits:
        for sentence, key, run in (*self._actions(), *self._elsewhere()):
            yield DiscoveryHit(_with_key(Content(sentence), key), run, text=sentence)

    async def search(self, query: str) -> Hits:
        matcher = self.matcher(query)
        for weight, actions in ((1.0, self._actions()), (ELSEWHERE, self._elsewhere())):
            for sentence, key, run in actions:
                score = matcher.match(sentence) * weight
                if score > 0:
                    shown = _with_key(matcher.highlight(sentence), key)
                    yield Hit(score, shown, run, text=sentence)

    def _actions(self) -> Iterator[Action]:
        """Those of the view first, then the application's, then those of what has the focus."""
        described = described_bindings(self.screen)
        described.sort(
            key=lambda pair: (not isinstance(pair[0], Screen), not isinstance(pair[0], App))
        )
        seen = {"command_palette"}
        for node, binding in described:
            if binding.action not in seen:
                seen.add(binding.action)
                run = partial(self.app.run_action, binding.action, node)
                yield binding.tooltip, self.app.get_key_display(binding), run

    def _elsewhere(self) -> Iterator[Action]:
        """Those of the other views, but for what is said of this one in the same words."""
        app = cast("LoadglassApp", self.app)
        top = app.top_view
        here = top.view if top is not None else ""
        seen = {binding.tooltip for _, binding in described_bindings(self.screen)}
        for view, bindings in OF_VIEWS.items():
            for binding in bindings:
                if view != here and binding.tooltip not in seen:
                    seen.add(binding.tooltip)
                    key = f"{VIEWS[view][1]}, {app.get_key_display(binding)}"
                    yield binding.tooltip, key, partial(app.do_on, view, binding)


def _with_key(sentence: Content, key: str) -> Content:
    return Content.assemble(sentence, ("   " + key, "dim"))
