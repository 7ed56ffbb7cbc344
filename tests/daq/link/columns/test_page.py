"""The sketch on the page for stands that print lines does what the page says of it."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

import daq.link.columns as columns
from daq.link.columns.description import read_description
from tests.lined import DESCRIPTION

PAGE = (Path(columns.__file__).parent / "README.md").read_text("utf-8")

# As much of a board as the sketch touches. A servo begins at 1500 us (Arduino's Servo
# library, DEFAULT_PULSE_WIDTH; from memory).
BOARD = """
#include <cctype>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>
typedef unsigned char byte;
#define constrain(x, low, high) ((x) < (low) ? (low) : (x) > (high) ? (high) : (x))
static unsigned long now_ms = 0;
unsigned long millis() { return now_ms; }
bool isDigit(int c) { return isdigit(c); }
struct {
  std::string in;
  void begin(long) {}
  int available() { return in.size(); }
  int read() { int c = in[0]; in.erase(0, 1); return c; }
} Serial;
struct Servo {
  int us = 1500, began_us = 0;
  void attach(int, int, int) { began_us = us; }
  void writeMicroseconds(int asked) { us = asked; }
};
"""
# Each line of its input is what came, after so many milliseconds.
RUN = """
void listen();
int main() {
  setup();
  std::printf("%d\\n", esc.began_us);
  char text[100];
  unsigned long wait_ms;
  while (std::scanf("%lu %99s", &wait_ms, text) == 2) {
    for (unsigned long i = 0; i < wait_ms; i++) { now_ms++; listen(); }
    Serial.in = strcmp(text, "-") ? text : "";
    for (char &c : Serial.in) if (c == '|') c = 10;
    listen();
    std::printf("%d\\n", esc.us);
  }
}
"""


@pytest.fixture(scope="module")
def sketch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    compiler = shutil.which("g++")
    if compiler is None:
        pytest.skip("needs g++: apt install g++")
    (code,) = re.findall(r"```cpp\n(.*?)```", PAGE, re.DOTALL)
    folder = tmp_path_factory.mktemp("sketch")
    source, made = folder / "sketch.cpp", folder / "sketch"
    text = BOARD + code.replace("#include <Servo.h>", "") + RUN
    source.write_text(text, "utf-8")
    flags = ["-Wall", "-Werror", "-fsanitize=address,undefined"]
    subprocess.run([compiler, *flags, "-o", made, source], check=True)
    return made


def pulses(sketch: Path, *steps: str) -> list[int]:
    done = subprocess.run(
        [sketch], input="\n".join(steps), capture_output=True, text=True, check=True
    )
    return [int(line) for line in done.stdout.split()]


def test_it_never_begins_in_the_middle(sketch: Path) -> None:
    assert pulses(sketch) == [1000]


def test_it_obeys_and_stops(sketch: Path) -> None:
    assert pulses(sketch, "10 T20.0|", "10 T4", "10 0.0|S|T35.5|", "10 S|")[1:] == [
        1200,
        1200,
        1355,
        1000,
    ]


def test_it_refuses_more_throttle_than_its_cap(sketch: Path) -> None:
    assert pulses(sketch, "10 T200|", "10 T-5|", "10 T|")[1:] == [1600, 1600, 1600]


@pytest.mark.parametrize(
    ("came", "runs"), [("K|", True), ("S?|", False), ("Kx|", False), ("?|", False)]
)
def test_only_a_command_keeps_the_motor_alive(
    sketch: Path, came: str, runs: bool
) -> None:
    after = pulses(sketch, "10 T20|", f"400 {came}", "200 -")[-1]
    assert after == (1200 if runs else 1000)


def test_silence_stops_it_after_half_a_second(sketch: Path) -> None:
    assert pulses(sketch, "10 T20|", "500 -", "1 -")[1:] == [1200, 1200, 1000]


def test_a_line_without_an_end_does_no_harm(sketch: Path) -> None:
    assert pulses(sketch, "10 T20|", *(["1 " + "9" * 90] * 30), "1 |S|")[-1] == 1000


def test_its_commands_are_those_that_the_page_describes() -> None:
    (table,) = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    before = DESCRIPTION[: DESCRIPTION.index("[commands]")]
    commands = read_description(before + table, "page").commands
    assert (commands.throttle, commands.stop) == ("T{percent:.1f}\n", "S\n")
    assert commands.keep_alive == "K\n"
