"""The command line: one command a module in `commands/`, loaded only when it is called.

Exit status: 0 fine; 1 the thing asked about is bad or could not be done; 2 the call was
wrong; 3 a fault of ours; 130 stopped by Ctrl-C.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from types import ModuleType

from formats.errors import LoadglassError
from formats.visible import visible
from tui.calls import BAD, FAULT, FINE, STOPPED, WRONG_CALL, WrongCall

COMMANDS = {
    "demo": "a scratch shelf of the sample images",
    "look": "title, directory, verdict and load times of one image",
    "audit": "findings and verdict of each image below the paths",
    "clock": "load times of one image on each rig, stage by stage",
    "bench": "stopwatch readings, and rigs fitted to them",
    "survey": "index folders of images",
    "shelf": "query the index; rate, tag and pick",
    "card": "choose what goes onto an SD card, fill it safely, check it",
    "mend": "a repaired copy of an image",
    "rigs": "the rigs, and where each figure comes from",
}
"""Name and what it does, as the help shows them; the module has the same name."""

USAGE = """\
loadglass reads 35-track disk images, says whether they are whole, and how long each
title takes to load with and without a fast-load cartridge.

  loadglass [PATH ...]       the full screen on the shelf, or on these images and folders
  loadglass COMMAND --help   what a command takes

Commands:
{commands}

Everywhere: --json prints one JSON object a line. --version prints the version.
A path that is named like a command is written ./look. LOADGLASS_HOME moves all that is kept.
"""


def usage() -> str:
    lines = [f"  {name:<10} {says}" for name, says in COMMANDS.items()]
    return USAGE.format(commands="\n".join(lines))


def main(arguments: list[str]) -> int:
    """Run a call and give its exit status; raises what goes wrong."""
    if arguments[:1] in (["--help"], ["-h"], ["help"]):
        sys.stdout.write(usage())
        return FINE
    if arguments[:1] == ["--version"]:
        from importlib.metadata import version

        sys.stdout.write(f"loadglass {version('loadglass')}\n")
        return FINE
    name = arguments[0] if arguments and arguments[0] in COMMANDS else None
    if name is None and arguments:
        _look_for(arguments[0])
    module = importlib.import_module(f"tui.commands.{name or 'screen'}")
    rest = arguments[1:] if name else arguments
    return int(module.run(_parser(name, module).parse_args(rest)))


def _look_for(word: str) -> None:
    """Raises WrongCall for a single word that is neither a command nor there."""
    if word.startswith("-") or os.path.basename(word) != word or os.path.lexists(word):
        return
    from difflib import get_close_matches

    near = get_close_matches(word, COMMANDS, 1)
    raise WrongCall(
        f'"{visible(word)}" is no command{f", perhaps {near[0]}" if near else ""}, and there is no '
        "such file here: `loadglass --help` lists the commands"
    )


def _parser(name: str | None, module: ModuleType) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog=f"loadglass {name}" if name else "loadglass",
        description=module.__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    module.arguments(parser)
    return parser


def run() -> int:
    """The console script: every way out is a status and at most one sentence."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        status = main(sys.argv[1:])
        sys.stdout.flush()
    except WrongCall as error:
        return _end(WRONG_CALL, str(error))
    except LoadglassError as error:
        return _end(BAD, str(error))
    except KeyboardInterrupt:
        return _end(STOPPED, "stopped")
    except BrokenPipeError:  # the reader of our output has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FINE
    except Exception as error:
        from tui.faults import save_report

        return _end(FAULT, save_report(error))
    return status


def _end(status: int, sentence: str) -> int:
    try:
        sys.stdout.flush()
        sys.stderr.write(f"loadglass: {sentence}\n")
    except OSError:
        pass
    return status


if __name__ == "__main__":
    sys.exit(run())
