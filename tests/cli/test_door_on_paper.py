"""The door's sheet stays on one A4 page: by its own measures, and in a browser's print where there is a browser.

Source: derived; A4 is 297 mm high and 210 wide, the sheet's margins are 12 and 10 mm.
"""

import html
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from conftest import PRACTICE, Line

pytestmark = pytest.mark.long  # a browser prints what other tests look at on any database


LONG = "Fridge in the sterilisation room upstairs"
CAUTIONS = [
    f"Caution {n}: keep it dry; ask whoever is responsible before anything else is done with it." for n in range(9)
]


def sheet(line: Any, rows: int, place: str, lot: str, cautions: list[str]) -> tuple[Line, str]:
    text = PRACTICE.replace('"Cold one"', f'"{place}"')
    text = text.replace('"Do not use if the seal is broken."', ", ".join(f'"{c}"' for c in cautions))
    cli: Line = line(text)
    cli.ok(
        "stock", "receive", "KIT", "--lot", lot, "--expiry", "2026-12-31", "--quantity", 90, "--into", place,
        "--arrived-at", "4",
    )  # fmt: skip
    starts = [f"2026-03-04T{8 + n * 5 // 60:02}:{n * 5 % 60:02}" for n in range(rows)]
    cli.file("d.csv", "id,procedure,start,patient\n" + "".join(f"K{n},white,{s},P-{n}\n" for n, s in enumerate(starts)))
    cli.ok("booking", "import", "d.csv")
    assert len(cli.ask("warmup", "list", "--day", "2026-03-03", "--out", "door.html")["take_out"]) == rows
    return cli, (cli.folder / "door.html").read_text(encoding="utf-8")


CASES = [
    (rows, *names)
    for rows in (1, 12, 22, 25, 40)
    for names in (("Cold one", "A1", CAUTIONS[:1]), (LONG, "LOT-2026-0000000031-B", CAUTIONS[:1]), ("Cold one", "A1", CAUTIONS))
]  # fmt: skip


@pytest.mark.parametrize(("rows", "place", "lot", "cautions"), CASES)
def test_up_to_forty_kits_are_one_page_by_its_measures(
    line: Any, rows: int, place: str, lot: str, cautions: list[str]
) -> None:
    _, page = sheet(line, rows, place, lot, cautions)
    cells = [html.unescape(c) for c in re.findall(r"<td.*?>(.*?)</td>", page)]
    assert cells[1:4] == [place, "KIT", lot] and page.count('class="box"') == rows
    assert all(html.escape(c, quote=False) in page for c in cautions)
    height = float(re.search(r"td \{ height: ([0-9.]+)mm", page)[1])  # type: ignore[index]
    size = float(re.search(r"font: ([0-9.]+)pt", page)[1])  # type: ignore[index]
    widths = [float(w) for w in re.findall(r"<col style=\"width:([0-9.]+)mm", page)]
    foot = page.partition('class="foot"')[2].count("<p>")
    assert height >= 5 and height * rows + 15 + foot * 3.4 <= 297 - 24  # 8 pt lines with their gaps are 3.4 mm
    assert len(widths) == 7 and sum(widths) + 14 <= 210 - 20  # the initials take what is left
    # A letter is some 0.2 mm wide for each point: no cell needs more lines than its row has room for.
    for width, words in zip(widths, cells[:6], strict=False):
        lines = -(-len(words) * 0.2 * size // (width - 2.4))
        assert lines * size * 0.4233 <= height, (words, width, size)
    assert widths[2] - 2.4 >= len("product") * 0.2 * size  # a head is not broken


BROWSER = next((b for b in map(shutil.which, ("chromium", "chromium-browser", "google-chrome")) if b), None)


@pytest.mark.skipif(BROWSER is None, reason="there is no browser to print with")
@pytest.mark.parametrize(("rows", "place", "lot", "cautions"), CASES[-6:])
def test_a_browser_prints_it_on_one_page(line: Any, rows: int, place: str, lot: str, cautions: list[str]) -> None:
    cli, _ = sheet(line, rows, place, lot, cautions)
    command = [str(BROWSER), "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
    subprocess.run(
        [*command, f"--user-data-dir={cli.folder}/browser", "--print-to-pdf=door.pdf", "door.html"], cwd=cli.folder,
        capture_output=True, timeout=120, check=True,
    )  # fmt: skip
    pages = len(re.findall(rb"/Type\s*/Page[^s]", Path(cli.folder / "door.pdf").read_bytes()))
    assert pages == 1
