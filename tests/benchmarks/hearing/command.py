"""Measure recognisers side by side on labelled speech in noise.

    python -m tests.benchmarks.hearing --data ../shared/speech

FOLDER holds a sub-folder of sound with labels.json, a JSGF grammar and a recording of noise. Each
system decodes every utterance at every ratio in a process of its own, one system after the other.
Rows are written as they come: after an interruption the same command goes on where it stood. At the
end there are results.json (every row), results.txt (tables) and results.html (plots) in --out.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import platform
import re
import sys
from pathlib import Path

from tests.benchmarks.hearing.dataset import Dataset, chosen, open_dataset
from tests.benchmarks.hearing.results import Journal, Results, Settings, read_results, write_results
from tests.benchmarks.hearing.running import run
from tests.benchmarks.hearing.summary import summarise
from tests.benchmarks.hearing.systems import NAMES, Setup
from tests.benchmarks.hearing.table import text_report
from voicelog.errors import VoicelogError

RATIOS = (24.0, 21.0, 18.0, 15.0, 12.0, 9.0, 6.0)
BEYOND = (3.0, 0.0)


def main(arguments: list[str] | None = None) -> None:
    """Run the command. Exit code 2 when it could not be done, 130 when it was stopped."""
    parser = _parser()
    args = parser.parse_args(arguments)
    try:
        _require("scipy", *([] if args.no_page else ["matplotlib"]), *([] if args.results else ["tqdm"]))
        if args.results:
            results = read_results(args.results)
            out = args.out or args.results.parent
        elif args.data:
            out = args.out or Path("build") / "hearing"
            results = _measure(args, out)
        else:
            parser.error("give --data FOLDER, or --from RESULTS")
        _show(results, out, page=not args.no_page)
    except VoicelogError as error:
        print(error, file=sys.stderr)
        sys.exit(2)
    except KeyboardInterrupt:
        print("\nStopped. The rows so far are kept: the same command goes on from here.", file=sys.stderr)
        sys.exit(130)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks.hearing",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add = parser.add_argument
    add("--data", type=Path, metavar="FOLDER", help="the data set")
    add(
        "--from",
        type=Path,
        dest="results",
        metavar="RESULTS",
        help="show a results.json anew, decode nothing",
    )
    add("--out", type=Path, metavar="FOLDER", help="where to write (default build/hearing)")
    add("--speech", metavar="NAME", help="sub-folder of sound with labels.json (default: the only one)")
    add("--grammar", type=Path, metavar="FILE", help="JSGF grammar (default: the only one in FOLDER)")
    add("--noise", type=Path, metavar="FILE", help="noise (default: the only sound file in FOLDER)")
    add("--ratios", type=_numbers, default=RATIOS, metavar="DB,...", help="averaged (default 24,21,...,6)")
    add("--beyond", type=_numbers, default=BEYOND, metavar="DB,...", help="reported apart (default 3,0)")
    add("--no-clean", action="store_true", help="leave out the sound without noise")
    add("--utterances", type=_positive, metavar="N", help="a seeded sample of N (default: all)")
    add("--seed", type=int, default=1, help="of the sample")
    add("--systems", type=_systems, default=NAMES, metavar="NAME,...", help=f"of {', '.join(NAMES)}")
    add("--model", type=Path, metavar="FOLDER", help="Whisper's weights (default: the embedded ones)")
    add("--prompt", default="auto", help="of free Whisper; 'auto' is a phrase of the grammar, '' is none")
    add(
        "--cutoff",
        type=float,
        default=60.0,
        help="of free Whisper: refuse a text less like its nearest phrase",
    )
    add("--threads", type=_positive, help="of each process (default: the cores, shared by the jobs)")
    add("--jobs", type=_positive, default=1, help="processes at once; above 1 times are not comparable")
    add("--starts", type=_positive, default=3, help="how often the start of each system is timed")
    add("--again", type=_systems, default=(), metavar="NAME,...", help="drop these systems' rows first")
    add("--fresh", action="store_true", help="drop all rows first")
    add("--no-page", action="store_true", help="write no results.html (it needs matplotlib)")
    return parser


def _numbers(text: str) -> tuple[float, ...]:
    return tuple(float(part) for part in text.split(",") if part.strip())


def _positive(text: str) -> int:
    value = int(text)
    if value < 1:
        raise argparse.ArgumentTypeError("must be 1 or more")
    return value


def _systems(text: str) -> tuple[str, ...]:
    names = tuple(part.strip() for part in text.split(",") if part.strip())
    for name in names:
        if name not in NAMES:
            raise argparse.ArgumentTypeError(f"there is no system {name}; choose from {', '.join(NAMES)}")
    return names


def _require(*packages: str) -> None:
    """Raise :class:`VoicelogError` for a package that is missing, before a long run and not after it."""
    missing = [name for name in packages if importlib.util.find_spec(name) is None]
    if missing:
        raise VoicelogError(
            f"not installed: {', '.join(missing)}",
            remedy="pip install '.[bench]'; with --no-page matplotlib is not needed",
        )


def _measure(args: argparse.Namespace, out: Path) -> Results:
    data = open_dataset(args.data, args.speech, args.grammar, args.noise)
    threads = args.threads or max(1, (os.cpu_count() or 1) // args.jobs)
    settings = Settings(
        data=f"{args.data.resolve().name}/{data.speech.name}",
        fingerprint=data.fingerprint,
        utterances=tuple(chosen(list(data.files), args.utterances, args.seed)),
        ratios=args.ratios,
        beyond=args.beyond,
        clean=not args.no_clean,
        systems=tuple(dict.fromkeys(args.systems)),
        seed=args.seed,
        threads=threads,
        jobs=args.jobs,
        prompt=args.prompt,
        cutoff=args.cutoff,
    )
    if not settings.conditions:
        raise VoicelogError("there is nothing to decode", remedy="give --ratios, or leave out --no-clean")
    setup = Setup(data.grammar, args.model, threads, args.prompt, args.cutoff)
    journal = _journal(args, out, settings)
    count = len(settings.utterances)
    _say(f"{count} utterances, {len(settings.conditions)} conditions; rows in {journal.path}")
    run(data, settings, setup, journal, args.starts, _say)
    return _results(data, settings, journal)


def _journal(args: argparse.Namespace, out: Path, settings: Settings) -> Journal:
    out.mkdir(parents=True, exist_ok=True)
    path = out / "rows.jsonl"
    if args.fresh:
        path.unlink(missing_ok=True)
    journal = Journal(path)
    if journal.settings and journal.settings.must_match() != settings.must_match():
        raise VoicelogError(
            "the rows in this folder are of other data or other options",
            where=str(out),
            remedy="choose another folder with --out, or begin anew with --fresh",
        )
    journal.keep_only(set(NAMES) - set(args.again))
    journal.open(settings)
    if journal.rows:
        _say(f"{len(journal.rows)} rows are there already")
    return journal


def _results(data: Dataset, settings: Settings, journal: Journal) -> Results:
    wanted = {(s, r, u) for s in settings.systems for r in settings.conditions for u in settings.utterances}
    place = {stem: number for number, stem in enumerate(settings.utterances)}
    rows = [row for row in journal.rows if (row.system, row.ratio_db, row.utterance) in wanted]
    rows.sort(key=lambda r: (settings.systems.index(r.system), settings.conditions.index(r.ratio_db),
                             place[r.utterance]))  # fmt: skip
    return Results(
        settings=settings,
        machine=_machine(),
        labels={stem: data.labels[stem] for stem in settings.utterances},
        sessions=tuple(s for s in journal.sessions if s.identity.system in settings.systems),
        rows=tuple(rows),
    )


def _machine() -> str:
    try:
        names = re.findall(r"^model name\s*:\s*(.+)$", Path("/proc/cpuinfo").read_text(), re.MULTILINE)
    except OSError:
        names = []
    processor = names[0] if names else platform.machine()
    return f"{os.cpu_count()} x {processor}, {platform.system()}, Python {platform.python_version()}"


def _show(results: Results, out: Path, *, page: bool) -> None:
    out.mkdir(parents=True, exist_ok=True)
    summary = summarise(results)
    text = text_report(results, summary)
    write_results(results, out / "results.json")
    (out / "results.txt").write_text(text, encoding="utf-8")
    print(text)
    if page:
        from tests.benchmarks.hearing.page import html_page

        (out / "results.html").write_text(html_page(results, summary), encoding="utf-8")
    _say(f"written to {out}")


def _say(text: str) -> None:
    print(text, file=sys.stderr)
