"""The ``voicelog`` command: the one place that words errors for people and sets exit codes."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

import click

from voicelog import __version__
from voicelog.commands.across import history, overview
from voicelog.commands.decoding import decode
from voicelog.commands.people import people
from voicelog.commands.policy import policy
from voicelog.commands.records import backup, export, verify
from voicelog.commands.remarks import transcribe
from voicelog.commands.retention import retention
from voicelog.commands.sheets import limits, sheet
from voicelog.commands.shop import shop
from voicelog.commands.sound import devices, doctor
from voicelog.commands.terminal import collect_seldom, harmless, say
from voicelog.commands.walking import demo, voice, walk
from voicelog.commands.walks import report, review, settle, sign, walks
from voicelog.errors import VoicelogError

# Heavy imports are inside the commands, so that help and sheet checks answer at once.


INTERRUPTED = 130
"""Exit code after Ctrl-C: 128 and the signal's number, as shells have it."""


class _Group(click.Group):
    """Turns the errors a user can act on into a sentence on standard error and exit code 2."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except click.UsageError as error:
            # It quotes what was typed.
            if all(line.isprintable() for line in error.message.split("\n")):
                raise
            raise click.UsageError(harmless(error.message), error.ctx) from error
        except VoicelogError as error:
            say(str(error))
            ctx.exit(2)
        except KeyboardInterrupt:
            say("stopped by the keyboard; what was acknowledged is kept")
            ctx.exit(INTERRUPTED)
        except BrokenPipeError:
            _give_up_output()
            ctx.exit(1)
        except OSError as error:
            place = f"{error.filename}: " if error.filename else ""
            reason = (error.strerror or str(error)).lower()
            remedy = "check the disk, the file's permissions, and where the output goes"
            say(f"{place}this could not be read or written ({reason})\n  What to do: {remedy}")
            _give_up_output()
            ctx.exit(2)


def _give_up_output() -> None:
    """Let the rest of standard output go, so that nothing is tried with it again at the exit."""
    sys.stdout = open(os.devnull, "w")  # noqa: SIM115 - stays open until the exit


@click.group(cls=_Group)
@click.version_option(__version__, prog_name="voicelog")
@click.option(
    "--data",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="VOICELOG_DATA",
    help="Folder of the records; by default the user's own data folder.",
)
@click.pass_context
def main(ctx: click.Context, data: Path | None) -> None:
    """Hands-free inspection logging, offline. voicelog records; it never declares a vehicle safe."""
    collect_seldom()
    ctx.obj = data
    # Closed outright by the caller; then what is printed goes nowhere, and nothing is typed.
    if sys.stdout is None:
        _give_up_output()
    if sys.stdin is None:
        sys.stdin = open(os.devnull)  # noqa: SIM115


for command in (
    walk,
    demo,
    voice,
    decode,
    sheet,
    limits,
    people,
    shop,
    doctor,
    devices,
    policy,
    history,
    overview,
    export,
    verify,
    backup,
    transcribe,
    retention,
    walks,
    review,
    settle,
    sign,
    report,
):
    main.add_command(command)


if __name__ == "__main__":
    main()
