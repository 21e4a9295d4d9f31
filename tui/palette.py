"""The command palette: every action of the view and of the application, by plain words."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from typing import TYPE_CHECKING, cast

from textual.command import DiscoveryHit, Hit, Hits, Provider

from tui.screens.help import says

if TYPE_CHECKING:
    from tui.app import LoadglassApp

Action = tuple[str, str, Callable[[], object]]
"""Its sentence, its key, and what does it."""


class Actions(Provider):
    """Actions are those that have a key; so what the palette finds, it also teaches."""

    async def discover(self) -> Hits:
        for sentence, key, run in self._actions():
            yield DiscoveryHit(sentence, run, help=key)

    async def search(self, query: str) -> Hits:
        matcher = self.matcher(query)
        for sentence, key, run in self._actions():
            score = matcher.match(sentence)
            if score > 0:
                yield Hit(score, matcher.highlight(sentence), run, help=key)

    def _actions(self) -> Iterable[Action]:
        app = cast("LoadglassApp", self.app)
        seen = set()
        for active in self.screen.active_bindings.values():
            binding = active.binding
            if not active.enabled or binding.system or not says(binding):
                continue
            if (binding.action, active.node) in seen or binding.action == "command_palette":
                continue
            seen.add((binding.action, active.node))
            run = partial(app.run_action, binding.action, active.node)
            yield says(binding), f"key: {app.get_key_display(binding)}", run
