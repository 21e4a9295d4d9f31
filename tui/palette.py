"""The command palette: every action of the view and of the application, by plain words."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial

from textual.app import App
from textual.command import CommandList, CommandPalette, DiscoveryHit, Hit, Hits, Provider
from textual.content import Content
from textual.screen import Screen

from tui.screens.help import described_bindings

Action = tuple[str, str, Callable[[], object]]
"""Its sentence, its key, and what does it."""


class Palette(CommandPalette):
    """The toolkit's, but for page keys that come before its list has been drawn."""

    def _action_command_list(self, action: str) -> None:
        found = self.query_one(CommandList)
        if not action.startswith("page") or (found.highlighted or 0) in found._index_to_line:
            super()._action_command_list(action)


class Actions(Provider):
    """Actions are those that have a key; so what the palette finds, it also teaches."""

    async def discover(self) -> Hits:
        for sentence, key, run in self._actions():
            yield DiscoveryHit(_with_key(Content(sentence), key), run, text=sentence)

    async def search(self, query: str) -> Hits:
        matcher = self.matcher(query)
        for sentence, key, run in self._actions():
            score = matcher.match(sentence)
            if score > 0:
                yield Hit(score, _with_key(matcher.highlight(sentence), key), run, text=sentence)

    def _actions(self) -> Iterable[Action]:
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


def _with_key(sentence: Content, key: str) -> Content:
    return Content.assemble(sentence, ("   " + key, "dim"))
