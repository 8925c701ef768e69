"""The desk: a drawing after a change, builds from the page beside the command line's, memory.

    python tests/bench/desk.py [--changes 60] [--builds 30]

Prints; asserts nothing.  A desk is started as a person does; its pages are asked for as the script
of its pages asks.  The time of a change is from the request to the whole page.  The first build is
asked for as soon as the desk answers, so it waits for the CAD kernel; the second does not.  Memory
is the resident set of the server and of its processes together and each (Linux only).
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlencode, urlsplit

PAUSE = 0.05  # s between two looks at a build
PATIENCE = 600.0


class Desk:
    """A desk in a folder of its own, and a browser's cookie for it."""

    def __init__(self, folder: Path) -> None:
        words = ["desk", "--no-browser", "--port", "0", "--workshop", str(folder)]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "jiggen", *words], stdout=subprocess.PIPE, text=True
        )
        address = next(word for word in self.process.stdout.readline().split() if "http" in word)
        self.port = urlsplit(address).port
        self.headers = {"Host": f"127.0.0.1:{self.port}", "Sec-Fetch-Site": "same-origin"}
        _, headers, _ = self.ask("GET", address[address.index("/?") :])
        self.headers["Cookie"] = headers["set-cookie"].partition(";")[0]

    def ask(self, method: str, path: str) -> tuple[int, dict[str, str], str]:
        """Status, headers and text of an answer."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
        connection.request(method, path, headers=self.headers)
        answer = connection.getresponse()
        text = answer.read().decode()
        connection.close()
        return answer.status, {n.lower(): v for n, v in answer.getheaders()}, text

    def build(self, **words: str) -> float:
        """Build a jig as its page does, and wait for it; how long that took, s."""
        begun = time.perf_counter()
        status, headers, text = self.ask("POST", f"/jig?{urlencode(words)}")
        assert status == 303, text
        while time.perf_counter() - begun < PATIENCE:
            _, _, text = self.ask("GET", headers["location"])
            if "data-events" not in text:
                break
            time.sleep(PAUSE)
        assert "data-then" in text, text
        return time.perf_counter() - begun

    def memory(self) -> dict[str, float]:
        """MB of the server and of each of its processes."""
        pids = [self.process.pid]
        for place in Path("/proc").glob("[0-9]*/stat"):
            try:
                fields = place.read_text().rpartition(")")[2].split()
            except OSError:
                continue
            if int(fields[1]) == self.process.pid:
                pids.append(int(place.parent.name))
        found = {}
        for number, pid in enumerate(pids):
            lines = Path(f"/proc/{pid}/status").read_text().splitlines()
            rss = next((line for line in lines if line.startswith("VmRSS")), "x 0 kB")
            found["server" if not number else f"process {number}"] = int(rss.split()[1]) / 1024
        return found

    def end(self) -> None:
        """Stop it as Ctrl-C does."""
        self.process.send_signal(2)
        self.process.wait(60)


def command_line(folder: Path, boot: float) -> float:
    """The same build from the command line, s."""
    begun = time.perf_counter()
    words = ["build", "club-piste", "--boot", f"{boot:g}", "--ski", "84-112", "--out"]
    run = [sys.executable, "-m", "jiggen", *words, str(folder / "jig")]
    subprocess.run(run, check=True, capture_output=True)
    return time.perf_counter() - begun


def show_memory(desk: Desk, when: str) -> None:
    found = desk.memory()
    each = ", ".join(f"{name} {size:.0f}" for name, size in found.items())
    print(f"{f'memory {when}':<40}{sum(found.values()):8.0f} MB: {each}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--changes", type=int, default=60)
    parser.add_argument("--builds", type=int, default=30)
    wanted = parser.parse_args()
    mount = {"pattern": "club-piste", "ski": "84-112"}
    with tempfile.TemporaryDirectory() as place:
        desk = Desk(Path(place) / "workshop")
        try:
            first = desk.build(**mount, boot="300")
            second = desk.build(**mount, boot="301")
            print(f"{'first build from the page':<40}{first:8.2f} s")
            print(f"{'second build from the page':<40}{second:8.2f} s")
            for n in range(2):
                took = command_line(Path(place) / f"line {n}", 300 + n)
                print(f"{'the same from the command line':<40}{took:8.2f} s", flush=True)
            times = []
            for n in range(wanted.changes):
                begun = time.perf_counter()
                desk.ask("GET", f"/jig?{urlencode(mount | {'boot': str(265 + n % 80)})}")
                times.append(1000 * (time.perf_counter() - begun))
            times.sort()
            late = times[min(len(times) - 1, round(0.95 * len(times)))]
            print(f"{'drawing after a change, median':<40}{statistics.median(times):8.1f} ms")
            print(f"{'drawing after a change, 95 %':<40}{late:8.1f} ms", flush=True)
            show_memory(desk, "after 2 builds")
            for n in range(2, wanted.builds):
                desk.build(**mount, boot=str(300 + n))
            show_memory(desk, f"after {max(2, wanted.builds)} builds")
        finally:
            desk.end()


if __name__ == "__main__":
    main()
