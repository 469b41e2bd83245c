"""A walk by voice alone, from a script: the real ``voicelog walk``, and not one key pressed.

    python -m tests.live.by_voice --long

Prints what was said, what answered, what was logged of it and how long it took, as recorded.
"""

from __future__ import annotations

import argparse
import os
import signal
import tempfile
from collections.abc import Callable, Iterable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from tabulate import tabulate

from tests.live.person import Heard, Person, Turn, delays, room
from tests.live.spoken_walk import stored_walk, walking
from tests.virtual_sound import virtual_sound
from voicelog.hearing.recogniser import RATE
from voicelog.records.chain import Stored
from voicelog.walk.events import (
    CautionAffirmed,
    CommandHeard,
    DoubtSettled,
    EntryLogged,
    EntryWithdrawn,
    Event,
    GroupMarkAsked,
    GroupMarked,
    PointNamed,
    RemarkLogged,
    SoundBack,
    SoundLost,
    StopEntered,
    TimedTestStarted,
    TimedTestStopped,
    WalkFinished,
    WalkResumed,
)

UNIT = Path(__file__).with_name("unit.toml")
ROOM_S = 900.0
MOST_TIMES = 3
"""So often a person says a line before giving it up."""


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the script."""

    say: str
    answer: tuple[Heard, ...] = ("taken",)
    """What it should be answered with; after anything else it is said again."""
    event: str = ""
    """What must then be on record: the event's kind, and a part of what it says."""
    wait: bool = False
    """Whether the whole answer is heard out; otherwise the next line is said over it."""
    long: bool = False
    """Only in the long form."""
    to_be_ignored: bool = False
    other: str = ""
    """Other words for it, for when it was not understood."""


@dataclass(frozen=True, slots=True)
class Act:
    """Something that befalls the walk."""

    name: str
    event: str = ""
    long: bool = False


SPEECH: tuple[Heard, ...] = ("speech",)
DOUBT: tuple[Heard, ...] = ("doubt",)

SCRIPT: tuple[Line | Act, ...] = (
    Line("wheels chocked", event="affirmed Chock the wheels.", other="affirmative"),
    Line("cab prop engaged", event="affirmed See the cab prop engaged.", other="affirmative"),
    Line("left lift cylinder dripping", event="logged lift_cylinder dripping"),
    Line("disregard", event="withdrawn"),
    Line("left lift cylinder dripping", event="logged lift_cylinder dripping"),
    Line("brake chamber secure", event="logged brake_chamber", long=True),
    Line("where am I", SPEECH, "command where am i", long=True),
    Line("what is left here", SPEECH, "command what is left", long=True),
    Line("remark", SPEECH, "command remark", wait=True, long=True, other="begin remark"),
    Line("the hose was replaced last week", event="remark", long=True),
    Line("end of remark", SPEECH, "command end of remark", wait=True, long=True),
    Line("mark the rest of this stop sound", SPEECH, "mark asked", wait=True),
    Line("affirmative", event="marked"),
    Line("go to engine front", SPEECH, "entered engine_front"),
    Line("engine off and key removed", event="affirmed Keep the engine off.", other="affirmative"),
    Line("engine mount cracked", DOUBT, "logged engine_mount", wait=True),
    Line("say again", SPEECH, "command say again"),
    Line("the right one", event="settled engine_mount_right"),
    Line("fan belt deflection one and a half inches", event="logged fan_belt 3/2"),
    Line("fan belt deflection one half inch", DOUBT, "logged fan_belt", wait=True),
    Line("half an inch", event="settled fan_belt 1/2"),
    Act("the headset drops out", "lost"),
    Line("water pump loose", event="logged water_pump loose"),
    Line("left engine mount loose", event="logged engine_mount_left loose"),
    Line("correction, right", event="logged engine_mount_right loose"),
    Line("stand by", SPEECH, "command stand by"),
    Line("radiator weeping", ("nothing",), to_be_ignored=True),
    Line("resume", SPEECH, "command resume"),
    Line("hand over", SPEECH, "command hand over", wait=True, long=True),
    Line("radiator weeping", ("nothing",), to_be_ignored=True, long=True),
    Line("resume", SPEECH, "command resume", long=True),
    Act("kill -9", "resumed"),
    Line("wheels chocked", event="affirmed Chock the wheels.", other="affirmative"),
    Line("engine off and key removed", event="affirmed Keep the engine off.", other="affirmative"),
    Line("radiator", SPEECH, "named radiator", long=True),
    Line("radiator weeping", event="logged radiator weeping", long=True),
    Line("start idle down", SPEECH, "started"),
    Line("stop idle down", ("taken", "doubt"), event="stopped", wait=True),
    Line("walk complete", SPEECH, "finished", wait=True),
)


def what(event: Event) -> str:
    """Return an event as the script names it."""
    match event:
        case CautionAffirmed(caution=caution):
            return f"affirmed {caution}"
        case EntryLogged(claim=claim):
            said = claim.condition_id or claim.value
            return f"logged {claim.point_id} {said}{' in doubt' if event.doubts else ''}"
        case DoubtSettled(claim=claim):
            return f"settled {claim.point_id} {claim.condition_id or claim.value}"
        case StopEntered(stop_id=stop_id):
            return f"entered {stop_id}"
        case PointNamed(point_id=point_id):
            return f"named {point_id}"
        case CommandHeard(command=command):
            return f"command {command}"
        case RemarkLogged():
            return f"remark of {event.point_id}"
    names: dict[type, str] = {
        EntryWithdrawn: "withdrawn",
        GroupMarkAsked: "mark asked",
        GroupMarked: "marked",
        SoundLost: "lost",
        SoundBack: "back",
        WalkResumed: "resumed",
        TimedTestStarted: "started",
        TimedTestStopped: "stopped",
        WalkFinished: "finished",
    }
    return names.get(type(event), str(event.kind))


@dataclass(frozen=True, slots=True)
class Walked:
    """How the script went."""

    turns: tuple[tuple[Line | Act, Turn], ...]
    given_up: tuple[str, ...]
    events: tuple[Stored, ...]
    seconds: float
    exit_code: int

    @property
    def repeats(self) -> int:
        """How many lines were said again."""
        return len(self.turns) - len({id(line) for line, _ in self.turns})

    def not_on_record(self) -> tuple[str, ...]:
        """Return what the script demands and is not on record in its order."""
        kinds = [what(stored.event) for stored in self.events]
        missing, place = [], 0
        for line in dict.fromkeys(line for line, _ in self.turns):
            if not line.event:
                continue
            found = next((n for n in range(place, len(kinds)) if kinds[n].startswith(line.event)), None)
            if found is None:
                missing.append(line.event)
            else:
                place = found + 1
        return tuple(missing)

    def of_no_line(self) -> tuple[str, ...]:
        """Return what was heard in which nobody spoke: it heard itself, or the room."""
        found = []
        for stored in self.events:
            spoken = getattr(stored.event, "heard", None) is not None
            turn = next((t for _, t in reversed(self.turns) if t.at <= stored.at), None)
            if spoken and (turn is None or not turn.said):
                found.append(what(stored.event))
        return tuple(found)

    def table(self) -> str:
        """Return what was said, answered and logged."""
        rows = []
        begins = [turn.at for _, turn in self.turns]
        for number, (line, turn) in enumerate(self.turns):
            until = begins[number + 1] if number + 1 < len(begins) else None
            logged = [e for e in self.events if turn.at <= e.at and (until is None or e.at < until)]
            heard = next((h.text for e in logged if (h := getattr(e.event, "heard", None)) is not None), "")
            said = turn.said or f"({line.name if isinstance(line, Act) else line.say})"
            delay = f"{turn.delay_s:.2f}" if turn.delay_s is not None else ""
            rows.append((said, heard, "; ".join(what(e.event) for e in logged), turn.answer, delay))
        head, widths = ("said", "heard", "logged", "answer", "s"), (40, 40, 60, None, None)
        found: str = tabulate(rows, head, maxcolwidths=widths)
        return found

    def summary(self) -> str:
        """Return the figures in one line."""
        found = delays([turn for _, turn in self.turns])
        return (
            f"{len(self.turns)} lines in {self.seconds:.0f} s, {self.repeats} of them said again, "
            f"{len(self.given_up)} given up; end of speech to tone as recorded, {len(found)} answers: "
            f"half within {np.quantile(found, 0.5):.2f} s, 95 in 100 within {np.quantile(found, 0.95):.2f} s"
        )


def walk(
    script: Iterable[Line | Act],
    data: Path,
    *options: str,
    headset: bool = True,
    say: Callable[[str], None] = print,
) -> Walked:
    """Walk the script; every line is told to ``say`` as it is spoken.

    Without a ``headset`` the microphone hears the loudspeaker, and each answer is heard out.
    """
    turns: list[tuple[Line | Act, Turn]] = []
    given_up: list[str] = []
    with ExitStack() as held:
        sound = held.enter_context(virtual_sound())
        if not headset:
            sound.couple()
        recording = sound.record()
        person = Person(sound, recording, beside_voice=not headset)
        quiet = data.parent / "quiet.wav"
        soundfile.write(quiet, room(ROOM_S), RATE)
        sound.start_playing(quiet)
        command = held.enter_context(walking(sound, data, *options, headset=headset, unit=UNIT))
        began = person.listen(recording.frames(), patience_s=120)
        for line in script:
            if isinstance(line, Act):
                if line.name == "kill -9":
                    os.kill(command.process.pid, signal.SIGKILL)
                    command.process.wait()
                    command = held.enter_context(walking(sound, data, *options, headset=headset, unit=UNIT))
                    turn = person.listen(recording.frames(), patience_s=120)
                else:
                    now = recording.frames()
                    sound.drop()
                    turns.append((line, person.listen(now, patience_s=20)))
                    now = recording.frames()
                    sound.restore()
                    if not headset:
                        sound.couple()
                    sound.start_playing(quiet)
                    turn = person.listen(now, patience_s=30)
                turns.append((line, turn))
                continue
            for time in range(MOST_TIMES):
                words = line.other if time and line.other else line.say
                turn = person.say(
                    words, wait=line.wait or not headset, patience_s=3 if line.to_be_ignored else 8
                )
                turns.append((line, turn))
                say(f"{words}: {turn.answer}")
                if turn.answer in line.answer:
                    break
            else:
                given_up.append(line.say)
        code = command.end()
        seconds = (turns[-1][1].at - began.at).total_seconds()
    events, _ = stored_walk(data)
    return Walked(tuple(turns), tuple(given_up), events, seconds, code)


def script(*, long: bool) -> Sequence[Line | Act]:
    """Return the lines of the short form, or all."""
    return [line for line in SCRIPT if long or not line.long]


def main() -> None:
    """Walk and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--long", action="store_true", help="all lines, some three minutes")
    parser.add_argument("--loudspeaker", action="store_true", help="the microphone hears the voice")
    parser.add_argument("--read-back", default="defects", choices=("every", "defects"))
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        lines, headset = script(long=args.long), not args.loudspeaker
        walked = walk(lines, Path(folder) / "data", "--read-back", args.read_back, headset=headset)
    print(walked.table())
    print(walked.summary())
    print("heard though nobody spoke:", "; ".join(walked.of_no_line()) or "nothing")
    print("not on record:", "; ".join(walked.not_on_record()) or "nothing")


if __name__ == "__main__":
    main()
