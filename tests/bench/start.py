"""What ``gramwatt --help`` costs over a bare interpreter."""

import subprocess
import sys
import time


def took_s(code: str) -> float:
    """Shortest of a few starts, in seconds."""
    times = []
    for _ in range(7):
        begin_s = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
        times.append(time.perf_counter() - begin_s)
    return min(times)


def measure(quick: bool) -> list[tuple[str, str]]:
    bare_s = took_s("pass")
    help_s = took_s(
        "from ui.cli.main import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass"
    )
    figure = f"{1e3 * help_s:.0f} ms, a bare interpreter {1e3 * bare_s:.0f} ms"
    return [("gramwatt --help", figure)]
