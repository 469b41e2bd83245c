"""What the record itself refuses to have signed, and what was done about a walk that went on meanwhile."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from tests.conftest import ROOT
from tests.people.making import OFFICER, OPERATOR, peopled, station
from tests.records.making import WALK, Ticking, finished, rows, signed, started, tamper
from tests.walk import reviewing
from voicelog import cli
from voicelog.errors import RecordError
from voicelog.records.chain import body_of, link
from voicelog.records.store import Store
from voicelog.walk.events import DoubtSettled, EntryCorrected, EntryLogged, SignedOff


def doubt(entry_id: str = "d1") -> EntryLogged:
    """Return an entry in doubt between a defect and sound."""
    claims = (
        reviewing.said("lift_cylinder_left", "dripping"),
        reviewing.said("lift_cylinder_left", "dry"),
    )
    return reviewing.doubted(entry_id, (claims[0], 0.62), (claims[1], 0.37))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Give a store with nobody on record."""
    with Store.open(tmp_path / "data", clock=Ticking()) as opened:
        yield opened


def test_no_program_signs_over_an_open_doubt(store: Store) -> None:
    """Whatever asks the record, in whatever role; settled, it is taken."""
    store.append(WALK, [started(), doubt(), finished()])
    before = rows(store.folder)
    operator = SignedOff(
        by="R. Alder", role="operator", meaning="inspected by", decision="none", head=store.head(WALK)
    )
    for signature in (signed(store.head(WALK)), operator):
        with pytest.raises(RecordError, match="open doubt") as caught:
            store.append(WALK, [signature])
        assert "entry d1" in caught.value.what
    assert rows(store.folder) == before
    store.append(WALK, [DoubtSettled(entry_id="d1", claim=doubt().claim, by="M. Ruiz", reason="seen")])
    store.append(WALK, [signed(store.head(WALK))])
    assert store.verify_all() == ()


MISFITS: list[dict[str, Any]] = [
    {"role": "operator", "meaning": "confirmed by", "decision": "in service"},
    {"role": "operator", "meaning": "inspected by", "decision": "in service"},
    {"role": "operator", "meaning": "confirmed by", "decision": "none"},
    {"role": "officer", "meaning": "inspected by", "decision": "in service"},
    {"role": "officer", "meaning": "confirmed by", "decision": "none"},
    {"role": "mechanic", "meaning": "repair certified by", "decision": "none"},
]


@pytest.mark.parametrize("given", MISFITS)
def test_a_role_signs_what_it_can_mean(tmp_path: Path, given: dict[str, Any]) -> None:
    """An operator's own key does not put "confirmed by, in service" on record under the operator's role."""
    with station(tmp_path / "data") as store:
        signers = peopled(store)
        store.append(WALK, [started(), finished()], signer=signers[OPERATOR])
        for who in (OPERATOR, OFFICER):
            made = SignedOff(by=who, head=store.head(WALK), **given)
            with pytest.raises(RecordError, match=r"The signature of an? "):
                store.append(WALK, [made], signer=signers[who])


def _forged(folder: Path, event: SignedOff) -> None:
    """Append an event behind the store's back, its hash made right."""
    connection = sqlite3.connect(folder / "voicelog.db")
    (number, previous, at) = connection.execute(
        "SELECT number, hash, at FROM events WHERE walk = ? ORDER BY number DESC LIMIT 1", (WALK,)
    ).fetchone()
    connection.close()
    body = body_of(event.model_copy(update={"head": previous}))
    digest = link(WALK, number + 1, at, event.kind, body, previous)
    quoted = body.replace("'", "''")
    tamper(
        folder,
        "INSERT INTO events (walk, number, at, kind, body, previous, hash) VALUES "
        f"('{WALK}', {number + 1}, '{at}', '{event.kind}', '{quoted}', '{previous}', '{digest}')",
    )


def test_a_signature_put_in_over_a_doubt_is_found(store: Store) -> None:
    """Also where every hash was made right; so is one that says what its role cannot mean."""
    store.append(WALK, [started(), doubt(), finished()])
    _forged(store.folder, signed(""))
    assert "The signature of event 4 is over an open doubt: d1." in store.verify(WALK)
    _forged(store.folder, SignedOff(by="R. Alder", head="", **MISFITS[0]))
    assert any("event 5 is none that can be" in problem for problem in store.verify(WALK))


def test_nothing_is_added_to_a_walk_that_went_on_since(store: Store) -> None:
    """Of two who settle one doubt from the same screen, the second is refused and must look again."""
    store.append(WALK, [started(), doubt()])
    with Store.open(store.folder, clock=Ticking()) as second:
        as_defect = DoubtSettled(entry_id="d1", claim=doubt().claim, by="M. Ruiz", reason="")
        sound = doubt().doubts[0].candidates[1].claim
        second.append(WALK, [as_defect], after=2)
    with pytest.raises(RecordError, match="went on since this was shown"):
        store.append(
            WALK, [DoubtSettled(entry_id="d1", claim=sound, by="K. Lund", reason="looks dry")], after=2
        )
    assert store.events(WALK)[-1].event == as_defect


Run = Callable[..., str]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Run a command on the record; return what it prints."""

    def command(*words: str, code: int = 0) -> str:
        result = CliRunner().invoke(cli.main, ["--data", str(tmp_path / "data"), *words])
        assert result.exit_code == code, result.output
        return result.output

    return command


SIGN = ("sign", reviewing.WALK, "--by", "M. Ruiz", "--decision", "in service", "--reason", "looked at it")


BEGUN = reviewing.started().model_copy(update={"extent": "monthly"})


def _whole(store: Store) -> None:
    """Put a finished walk of every point, without a doubt, on record."""
    store.append(reviewing.WALK, [BEGUN, *reviewing.cover(), finished()])


def test_what_came_between_the_reading_and_the_signature_is_not_signed(
    store: Store, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A doubt that another program puts in while ``sign`` is at work is not signed over unseen."""
    _whole(store)
    checked = Store.verify

    def verify(self: Store, walk: str) -> tuple[str, ...]:
        found = checked(self, walk)
        store.append(walk, [reviewing.logged("late", reviewing.said("alternator", "hanging"))])
        return found

    monkeypatch.setattr(Store, "verify", verify)
    assert "went on since" in run(*SIGN, code=2)
    assert not any(isinstance(e.event, SignedOff) for e in store.events(reviewing.WALK))


def test_who_signs_does_not_choose_the_policy(store: Store, run: Run, tmp_path: Path) -> None:
    """Where the data folder has a local policy, another is refused; and the one that counted is kept."""
    _whole(store)
    shipped = (ROOT / "grammars" / "policy.toml").read_text()
    own, easy = store.folder / "policy.toml", tmp_path / "easy.toml"
    easy.write_text(shipped + "\n")
    run(*SIGN, "--policy", str(easy))
    own.write_text(shipped.replace('edition = "', 'edition = "second ', 1))
    for command in (SIGN, ("review", reviewing.WALK, "--plain")):
        assert "local policy of its own" in run(*command, "--policy", str(easy), code=2)
    run("sign", reviewing.WALK, "--by", "T. Vance", "--decision", "in service")
    by_policy = [
        e.event.policy_sha256 for e in store.events(reviewing.WALK) if isinstance(e.event, SignedOff)
    ]
    kept = [(store.folder / "editions" / f"{sha}.toml").read_bytes() for sha in by_policy]
    assert kept == [easy.read_bytes(), own.read_bytes()]


def test_a_defect_of_another_day_is_not_signed_away(store: Store, run: Run) -> None:
    """By command: it is in the review, bars the decision, and is printed where it was overridden."""
    dripping = reviewing.logged("e1", reviewing.said("lift_cylinder_left", "dripping"))
    store.append("monday", [BEGUN, dripping, finished()])
    store.defects.take_up("monday", reviewing.state_of(e.event for e in store.events("monday")))
    _whole(store)
    plain = run("review", reviewing.WALK, "--plain")
    assert "open from before: left lift cylinder dripping, open since" in plain
    assert "local policy: left lift cylinder dripping, open since" in plain
    assert "against the local policy" in run(*SIGN, code=2)
    told = run(*SIGN, "--override", "spare engine is out")
    assert "against the local policy: left lift cylinder dripping, open since" in told


def test_a_walk_that_was_changed_after_it_was_signed_says_so(store: Store, run: Run) -> None:
    """In the list of walks and across them it is no confirmed walk, until it is signed again."""
    _whole(store)
    run(*SIGN)
    assert run("walks").rstrip().endswith("signed")
    claim = reviewing.said("alternator", "loose")
    store.append(
        reviewing.WALK, [EntryCorrected(entry_id="s_alternator", claim=claim, by="M. Ruiz", reason="seen")]
    )
    assert "signed, CHANGED SINCE" in run("walks")
    (facts,) = store.across.facts_of("engine_61")
    assert facts.signatures == ("confirmed by M. Ruiz, CHANGED SINCE",) and not facts.confirmed
    run("sign", reviewing.WALK, "--by", "M. Ruiz", "--decision", "in service with restrictions")
    assert "CHANGED SINCE" not in run("walks")
    (facts,) = store.across.facts_of("engine_61")
    assert facts.confirmed
