"""``voicelog doctor`` and ``voicelog devices``: is this machine ready, and does it hear?"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from voicelog.clock import now
from voicelog.errors import AudioError
from voicelog.paths import data_folder

if TYPE_CHECKING:
    from voicelog.doctor.finding import Finding
    from voicelog.hearing.recogniser import Recogniser

SAY = "say: wheel chocks in place and tight"

_LISTEN = click.option(
    "--listen",
    "seconds",
    type=click.FloatRange(1, 600),
    default=3.0,
    show_default=True,
    help="Seconds to listen; from 30 on the device's clock is told too.",
)


@click.command()
@click.option("--device", help="Microphone by name or number; see: voicelog devices.")
@click.option("--model", type=click.Path(path_type=Path), help="Folder of another English Whisper model.")
@click.option("--say", is_flag=True, help="Also asks you to speak, and shows what was heard.")
@_LISTEN
@click.pass_obj
def doctor(data: Path | None, device: str | None, model: Path | None, say: bool, seconds: float) -> None:
    """Check this machine before a walk.

    Says how to mend what is wrong. Exit code 1 if something is.
    """
    from voicelog.doctor import probes
    from voicelog.hearing.engines import Engines, make_recogniser

    found: list[Finding] = []

    def tell(*findings: Finding) -> None:
        for finding in findings:
            _tell(finding)
        found.extend(findings)

    folder = data_folder(data)
    tell(probes.disk(folder), probes.memory(), probes.processors())
    record, newest = probes.records(folder, now)
    tell(record, probes.clock(now(), newest))
    of_model, recogniser = probes.model(lambda: make_recogniser(Engines(model)))
    tell(*of_model)
    sound = probes.portaudio()
    tell(sound)
    if sound.verdict != "fix":
        tell(probes.output(), _voice())
        of_microphone, _ = probes.microphone(device, seconds)
        tell(*of_microphone)
        if say and recogniser is not None and of_microphone[0].verdict != "fix":
            tell(_spoken(device, recogniser))
    to_fix = sum(finding.verdict == "fix" for finding in found)
    click.echo("ready for a walk" if not to_fix else f"{to_fix} to fix before a walk by voice")
    sys.exit(1 if to_fix else 0)


@click.command()
@click.option("--test", "name", help="Listen to this microphone, by name or number, and judge its level.")
@_LISTEN
def devices(name: str | None, seconds: float) -> None:
    """List, or test, microphones and sound outputs.

    With --test it listens to a microphone. Exit code 1 if it cannot be used.
    """
    if name is None:
        _list()
        return
    from voicelog.doctor import probes

    findings, _ = probes.microphone(name, seconds)
    for finding in findings:
        _tell(finding)
    sys.exit(1 if any(finding.verdict == "fix" for finding in findings) else 0)


def _list() -> None:
    from voicelog.hearing.portaudio import devices as found
    from voicelog.voice.output import outputs

    microphones = found()
    for device in microphones:
        click.echo(str(device))
    for output in outputs():
        click.echo(f"output {output}")
    if not microphones:
        raise AudioError(
            "no microphone was found", remedy="connect one; recordings and the keyboard still work"
        )


def _voice() -> Finding:
    from voicelog.doctor.finding import Finding
    from voicelog.voice.check import voice_found

    there, told = voice_found()
    if there:
        return Finding("voice", "good", told)
    what, _, remedy = told.partition("; ")
    return Finding("voice", "look", what, remedy)


def _spoken(device: str | None, recogniser: Recogniser) -> Finding:
    from voicelog.doctor import probes
    from voicelog.doctor.finding import Finding, of_error
    from voicelog.doctor.levels import judge_speech, measure

    click.echo(SAY)
    try:
        sound, heard = probes.said(device, recogniser)
    except AudioError as error:
        return of_error("speech", error)
    if not heard:
        return Finding("speech", "fix", "no speech was heard", "speak when it asks, close to the microphone")
    click.echo(f'heard: "{heard[0]}"' if heard[0] else "heard: no phrase of the sheet")
    return judge_speech(measure(sound))


def _tell(finding: Finding) -> None:
    from voicelog.screens.outside_text import visible

    first, *rest = finding.lines
    for line in (visible(first), *(f"      {visible(line.strip())}" for line in rest)):
        click.echo(line)
