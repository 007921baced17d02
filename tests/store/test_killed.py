"""kill -9 at random moments over every writing command: always the whole step or none, and nothing that was said is lost.

Source of the aim: the program's own promise. docs/reliability.md says how the full number is run, and what was seen.
"""

import os
import random
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import pytest
from forked import Warm
from killing import NOT_HERE, Campaign, Files, OnServer, begin, older, page_lines, writing

KILLS = int(os.environ.get("STOCKROOM_KILLS", "0"))
"""How many kills are tried on SQLite, a fifth of them on PostgreSQL; without it one for each writing command."""


@pytest.fixture(scope="module")
def warm() -> Iterator[Warm]:
    with Warm() as there:
        yield there


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_a_killed_command_leaves_all_of_its_step_or_nothing(
    kind: str, warm: Warm, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    kept = Files(tmp_path / "k") if kind == "sqlite" else OnServer(tmp_path / "k", request.getfixturevalue("server"))
    campaign = Campaign(warm, kept, random.Random(20260302))
    small = kind == "postgresql" and not KILLS
    campaign.built(islice(page_lines(), 24) if small else page_lines(), begin)
    left_out = writing() - {s.command for s in campaign.steps} - NOT_HERE
    assert small or left_out == ({"records restore"} if kind == "postgresql" else set())
    trials = (KILLS or len(campaign.steps)) if kind == "sqlite" else (KILLS // 5 or 10)
    for number in range(trials):
        campaign.trial(number if trials > 10 else campaign.chance.randrange(len(campaign.steps)))
    print(f"\n{kind}: {trials} kills over {len(campaign.steps)} steps: {campaign.count}")
    assert campaign.faults == []


def test_a_killed_upgrade_is_done_or_to_be_done(warm: Warm, tmp_path: Path) -> None:
    campaign = Campaign(warm, Files(tmp_path / "k"), random.Random(20260302))
    campaign.built(iter([["database", "upgrade"]]), older)
    trials = KILLS // 10 or 3
    for number in range(trials):
        campaign.trial(number)
    print(f"\nupgrade: {trials} kills: {campaign.count}")
    assert campaign.faults == []


def test_a_killed_demo_leaves_whole_entries_only(warm: Warm, tmp_path: Path) -> None:
    chance, seen = random.Random(20260302), []
    campaign = Campaign(warm, Files(tmp_path / "k"), chance)
    for number in range(KILLS // 50 or 1):
        folder = tmp_path / f"d{number}"
        folder.mkdir()
        ran = warm.run(["demo", "made"], folder, {}, kill_after=chance.uniform(0.2, 12))
        assert ran.code in (-9, 0), ran
        found = campaign.database(folder, str(folder / "made" / "stockroom.db"))
        assert found.entries is None or (found.entries >= 1 and not found.wrong), found
        seen.append(found.entries)
    print(f"\ndemo: entries left by each kill: {seen}")
