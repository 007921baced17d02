"""The built wheel, installed in an environment of its own outside the checkout: init, demo and a day."""

import json
import os
import subprocess
import sys
import venv
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest
from conftest import PRACTICE

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--outdir", str(folder), str(ROOT)], check=True, capture_output=True
    )
    (wheel,) = folder.glob("*.whl")
    return wheel


@pytest.fixture(scope="module")
def program(built: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("elsewhere")
    venv.create(folder / "env", with_pip=True)
    inside = folder / "env" / ("Scripts" if os.name == "nt" else "bin")
    pip = [str(inside / "python"), "-m", "pip", "install", "-q", "--disable-pip-version-check", str(built)]
    subprocess.run(pip, check=True, cwd=folder)
    return inside / "stockroom"


def test_it_holds_the_migrations_and_the_sample_practice(built: Path) -> None:
    names = zipfile.ZipFile(built).namelist()
    assert "stockroom/_migrations/env.py" in names
    assert any(n.startswith("stockroom/_migrations/versions/0001") for n in names)
    assert "stockroom/_sample_data/practice.toml" in names
    assert "stockroom/pages/sheet.html" in names
    assert not any(n.startswith(("tests/", "docs/", "migrations/")) for n in names)


def test_init_demo_and_a_day_work_from_it(program: Path, tmp_path: Path) -> None:
    env = {k: v for k, v in os.environ.items() if not k.startswith(("STOCKROOM_", "PYTHON", "COV"))}
    env |= {"HOME": str(tmp_path), "STOCKROOM_BY": "AB", "STOCKROOM_DB": str(tmp_path / "own.db")}

    def run(*args: str, codes: tuple[int, ...] = (0, 1)) -> str:
        said = subprocess.run(
            [str(program), *args], env=env, cwd=tmp_path, capture_output=True, text=True, encoding="utf-8"
        )
        assert said.returncode in codes, (args, said.stdout, said.stderr)
        return said.stdout

    (tmp_path / "practice.toml").write_text(PRACTICE, encoding="utf-8")
    run("init", "practice.toml", codes=(0,))
    run(
        "stock",
        "receive",
        "KIT",
        "--lot",
        "A1",
        "--expiry",
        "2030-12",
        "--quantity",
        "4",
        "--into",
        "Cold one",
        "--at",
        "yesterday 09:00",
    )
    run("fridge", "log", "-0.4", "--fridge", "Cold two", codes=(1,))
    run("fridge", "log", "4.2", "--min", "3.1", "--max", "5.0", "--fridge", "Cold one")
    booked = json.loads(run("booking", "add", "white", "--start", "2030-03-04T10:00", "--patient", "P-1", "--json"))
    assert booked["warmup"][0]["state"] == "planned"
    assert json.loads(run("stock", "list", "--json"))["lots"][0]["quantity"] == 4
    assert json.loads(run("trace", "lot", "KIT", "A1", "--json"))["difference"] == 0
    run("fridge", "sheet", "--month", datetime.now(UTC).strftime("%Y-%m"), "--out", "sheet.html")
    assert "Cold two" in (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert "-0.4" in json.dumps(json.loads(run("fridge", "chart", "--json", codes=(0,))))
    run("fridge", "chart", "--out", "chart.svg", codes=(0,))
    assert (tmp_path / "chart.svg").read_text(encoding="utf-8").rstrip().endswith("</svg>")
    run("reorder", "list")
    run("today")
    assert json.loads(run("records", "verify", "--json", codes=(0,)))["faults"] == []
    shown = run("demo", "made-up", codes=(0,))
    assert "That was the demo" in shown
    assert (tmp_path / "made-up" / "stockroom.db").exists()
    assert (tmp_path / "made-up" / "sheet.html").exists()
