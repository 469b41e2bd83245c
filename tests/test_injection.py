"""What a person can type anywhere, typed with ill intent, through the real commands.

Each attack goes into every text field at once. In the record it is as it was typed; on the terminal,
in the pages, the tables and the plain text it is only text.
"""

from __future__ import annotations

import csv
import io
import json
import unicodedata
from dataclasses import dataclass, field
from pathlib import Path

import html5lib
import pytest
from click.testing import CliRunner

from tests.conftest import ROOT
from voicelog.cli import main
from voicelog.clock import now
from voicelog.records.store import Store
from voicelog.sheet import load_sheet

CYLINDER = "left lift cylinder"
ATTACKS = {
    "HTML": "<script>alert(1)</script><img src=x onerror=alert(1)>",
    "HTML attribute": '"\' onmouseover="alert(1)" x=\'',
    "template": "{{7*7}} {% raw %} ${7*7}",
    "CSV formula": '=HYPERLINK("http://x.invalid","y")',
    "CSV command": "+1+cmd|' /C calc'!A0",
    "CSV at": "@SUM(1+1)",
    "CSV minus": "-2+3",
    "SQL": "'); DROP TABLE events; --",
    "SQL quotes": "x' OR '1'='1",
    "terminal markup": "[bold red]x[/] [link=http://x.invalid]y[/link]",
    "terminal escape": "\x1b[31mred\x1b]0;title\x07 \x9b2J",
    "direction": "RLO \u202egnp.exe \u2066x\u2069",
}
"""Formulas begin a cell with = + - or @ (OWASP, CSV injection, from memory)."""
NAMES_REFUSED = {"terminal escape"}
"""A name with control characters is refused where it is typed, and nothing is begun."""


@dataclass
class Station:
    """Runs commands on one record, and keeps what they print."""

    data: Path
    told: list[str] = field(default_factory=list)

    def run(self, *words: str, typed: str | None = None, code: int = 0) -> str:
        """Run a command and return what it prints."""
        done = CliRunner().invoke(main, ["--data", str(self.data), *words], input=typed)
        assert done.exit_code == code, done.output
        self.told.append(done.output)
        return done.output


def unit_file(folder: Path, text: str) -> Path:
    """Write a unit whose name, station and identification are ``text``."""
    written = (ROOT / "samples" / "engine_61.toml").read_text(encoding="utf-8")
    for name in ("name", "station", "identification"):
        old = next(line for line in written.splitlines() if line.startswith(f"{name} = "))
        written = written.replace(old, f"{name} = {json.dumps(text)}", 1)
    path = folder / "engine_61.toml"
    path.write_text(written, encoding="utf-8")
    return path


@pytest.mark.parametrize("attack", ATTACKS)
def test_text_is_only_text(tmp_path: Path, attack: str) -> None:
    """Names, reasons, remarks, findings, parts, units: nothing of them does anything anywhere."""
    text = ATTACKS[attack]
    name = "R. Alder" if attack in NAMES_REFUSED else text
    station = Station(tmp_path / "data")
    run, out = station.run, tmp_path / "out"
    unit = "samples/engine_61.toml" if attack in NAMES_REFUSED else str(unit_file(tmp_path, text))
    unit = str(ROOT / unit) if attack in NAMES_REFUSED else unit
    sheet = load_sheet(ROOT / "grammars" / "engine_bay.toml")
    affirmed = "affirmative\n" * (len(sheet.gate) + len(sheet.stops[0].gate))
    affirmed += "go to left front\n" + "affirmative\n" * len(sheet.stop("left_front").gate)
    walk = ("walk", "--unit", unit, "--keyboard", "--plain", "--sheet", str(Path(sheet.path)))
    if attack in NAMES_REFUSED:
        run(*walk, "--operator", text, code=2)
    said = (f"{CYLINDER} dripping", f"hand over to {text} 2", f"{text}", "remark", text, "end of remark")
    run(*walk, "--operator", name, typed=affirmed + "\n".join((*said, "walk complete")) + "\n")
    walk_id = run("walks").split()[0]
    defect = "engine_61-d1"
    run("shop", "send", defect, "--by", name, "--reason", text)
    run("shop", "repair", defect, "--by", name, "--findings", text, "--part", f"2 x {text} # {text}")
    run("shop", "certify", defect, "--by", name, "--reason", text)
    run("sign", walk_id, "--by", f"{name} 3", "--decision", "out of service", "--reason", text)
    run("review", walk_id, "--plain")
    run("shop", "list")
    run("shop", "show", defect)
    run("shop", "order", defect, "--out", str(out))
    forms = ("--form", "html", "--form", "txt", "--form", "csv", "--form", "json")
    run("report", walk_id, "--out", str(out), *forms)
    run("verify", walk_id)

    with Store.open(station.data, clock=now, make=False) as store:
        assert store.verify_all() == ()
        events = [stored.event for stored in store.events(walk_id)]
        assert text in [getattr(event, "reason", "") for event in events]
        kept = store.defects.book("engine_61").defect(defect)
        assert text in [getattr(event, "findings", "") for _, event in kept.history]
    for told in station.told:
        odd = {c for c in told if unicodedata.category(c)[0] == "C" and c != "\n"}
        assert odd == set(), repr(told)
    for path in out.iterdir():
        _check(path, text)


def _check(path: Path, text: str) -> None:
    written = path.read_text(encoding="utf-8-sig" if path.suffix == ".csv" else "utf-8")
    # JSON is for programs: marks of direction are there as they were typed, control characters escaped.
    harmful = ("Cc",) if path.suffix == ".json" else ("Cc", "Cf", "Co", "Cs", "Cn")
    odd = {c for c in written if unicodedata.category(c) in harmful and c not in "\r\n\t"}
    assert odd == set(), path
    if path.suffix == ".html":
        page = html5lib.parse(written, namespaceHTMLElements=False)
        tags = [element for element in page.iter() if isinstance(element.tag, str)]
        assert not [e.tag for e in tags if e.tag in ("script", "iframe", "object", "embed")]
        assert not [e.attrib for e in tags if any(name.startswith("on") for name in e.attrib)]
        assert not [e.attrib for e in tags if e.get("src") == "x" or "x.invalid" in e.get("href", "")]
        whole = " ".join("".join(page.itertext()).split())
        if not any(unicodedata.category(c)[0] == "C" for c in text):
            assert " ".join(text.split()) in whole
        assert "49" not in whole or "{{7*7}}" not in text or "{{7*7}}" in whole
    elif path.suffix == ".csv":
        rows = list(csv.reader(io.StringIO(written)))
        assert len({len(row) for row in rows}) == 1
        assert not [cell for row in rows for cell in row if cell[:1] in ("=", "+", "-", "@", "\t", "\r")]
    elif path.suffix == ".json":
        assert json.loads(written)


HOSTILE = "\x1b]0;t\x07\x1b[31mX\x9b2J\u202eY\x1b]8;;http://x.invalid\x1b\\L\x1b]52;c;eA==\x07"
"""Title, colour, C1 control, mark of direction, link and clipboard (ECMA-48 and xterm, from memory)."""
WALK = "{walk}"
NAMED = [
    ("verify", HOSTILE),
    ("verify", WALK, "--station", HOSTILE),
    ("verify", "--holds", HOSTILE),
    ("review", HOSTILE, "--plain"),
    ("review", WALK, "--plain", "--policy", HOSTILE),
    ("settle", WALK, HOSTILE, "1", "--by", "M. Ruiz"),
    ("sign", WALK, "--by", "M. Ruiz", "--decision", HOSTILE),
    ("report", HOSTILE),
    ("report", WALK, "--out", "{out}" + HOSTILE),
    ("export", WALK, "--out", "{out}.zip" + HOSTILE.replace("/", "")),
    ("backup", "{out}.copy" + HOSTILE.replace("/", "")),
    ("history", HOSTILE),
    ("history", "engine_61", "--out", "{out}.history" + HOSTILE.replace("/", "")),
    ("overview", "--out", "{out}.overview" + HOSTILE.replace("/", "")),
    ("shop", "show", HOSTILE),
    ("shop", "order", "engine_61-d1", "--out", "{out}.order" + HOSTILE.replace("/", "")),
    ("shop", "defer", "engine_61-d1", "--by", "M. Ruiz", "--until", HOSTILE, "--reason", "x"),
    ("people", "add", HOSTILE, "--role", "officer"),
    ("people", "key", "x", "--pin-file", HOSTILE),
    ("policy", "check", HOSTILE),
    ("policy", "check", "{hostile}"),
    ("sheet", "check", HOSTILE),
    ("sheet", "check", "{hostile}"),
    ("limits", HOSTILE),
    ("demo", HOSTILE),
    ("retention", "--policy", HOSTILE),
    ("transcribe", HOSTILE),
    ("walk", "--unit", HOSTILE, "--operator", "x", "--keyboard", "--plain"),
    ("walk", "--unit", "{hostile}", "--operator", "x", "--keyboard", "--plain"),
    ("no such " + HOSTILE,),
    ("walk", "--no" + HOSTILE),
]


def test_what_is_named_on_a_command_line_is_only_text(tmp_path: Path) -> None:
    """Names of walks, files, folders, people and options, told back or refused, move no terminal."""
    data, hostile = tmp_path / "data", tmp_path / "hostile.toml"
    hostile.write_text(f"{json.dumps(HOSTILE)} = {json.dumps(HOSTILE)}\n", encoding="utf-8")
    unit = str(ROOT / "samples" / "engine_61.toml")
    typed = "affirmative\n" * 12 + f"{CYLINDER} dripping\n{HOSTILE}\nwalk complete\n"
    walk = ("walk", "--unit", unit, "--operator", "R. Alder", "--keyboard", "--plain")
    CliRunner().invoke(main, ["--data", str(data), *walk], input=typed)
    with Store.open(data, clock=now, make=False) as store:
        (listed,) = store.walks()
    known = {"walk": listed.walk, "out": tmp_path / "out", "hostile": hostile}
    for words in NAMED:
        given = [word.format(**known) if "{" in word else word for word in words]
        done = CliRunner().invoke(main, ["--data", str(data), *given], color=True)
        assert done.exception is None or isinstance(done.exception, SystemExit), (words, done.exception)
        odd = {c for c in done.output if unicodedata.category(c)[0] == "C" and c != "\n"}
        assert odd == set(), (words, done.output)
