"""Ten million samples of a pull read from a text: ``python -m tests.bench.trace``.

Prints seconds of one process (by the clock and of the processor) and its largest memory.
"""

import multiprocessing
import resource
import tempfile
import time
from pathlib import Path

import numpy as np

from api.recordings.document import document, read_file
from api.recordings.invented import InventedPull, recorded
from engine.diagnosis import shipped_knowledge

SAMPLES, RATE = 10_000_000, 500_000.0


def write(file: Path) -> None:
    """Write a pull, its rows again and again behind it until there are enough."""
    pull = InventedPull(11.0, 30.0, 0.8, 0.0, 0.62, 0.13)
    amperes = recorded(pull, np.random.default_rng(1), RATE).channels["pull-current"]
    with file.open("w", encoding="ascii") as out:
        out.write("time;pull current\n")
        for start in range(0, SAMPLES, 1_000_000):
            at = np.arange(start, start + 1_000_000)
            np.savetxt(out, np.stack([at / RATE, amperes[at % len(amperes)]], 1), "%.6f", ";")


def main() -> None:
    """Write the file, read it in a process that did nothing else, and say what it took."""
    knowledge = shipped_knowledge()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "pull.csv"
        writer = multiprocessing.get_context("spawn").Process(target=write, args=(file,))
        writer.start()
        writer.join()
        wall, cpu = time.perf_counter(), time.process_time()
        with file.open("rb") as stream:
            samples = document(knowledge, read_file(stream, file.name))["samples"]
        wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{samples} samples: {wall:.1f} s, {cpu:.1f} s of CPU, {most:.0f} MiB")


if __name__ == "__main__":
    main()
