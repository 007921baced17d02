"""How long `stockroom --help` takes against importing typer: python tests/bench/start.py

Whole processes in turn, medians of fifteen; the bar is 2.
"""

import statistics
import subprocess
import sys
import time


def seconds(code: str) -> float:
    began = time.perf_counter()
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
    return time.perf_counter() - began


def main() -> None:
    ours = "import sys; from stockroom.cli.main import main; sys.exit(main(['--help']))"
    seconds(ours), seconds("import typer")
    pairs = [(seconds(ours), seconds("import typer")) for _ in range(15)]
    ratio = statistics.median(a / b for a, b in pairs)
    print(f"stockroom --help {statistics.median(a for a, _ in pairs):.3f} s")
    print(f"import typer     {statistics.median(b for _, b in pairs):.3f} s")
    print(f"ratio            {ratio:.2f} (at most 2)")


if __name__ == "__main__":
    main()
