"""Workers begun before it is known what they are to do: they load what makes pixels while the job is read and planned.

They are begun for a first export alone, which will need them; whoever takes none of them ends them.
"""

from __future__ import annotations

import contextlib
import os
import threading
import tomllib
from typing import TYPE_CHECKING, Generic, Self, TypeVar

from pipeline.deliver.loads import made_ready
from pipeline.deliver.memory import IDLE, memory_to_use
from pipeline.deliver.worker import begin_worker, load_ahead
from pipeline.job.kept_names import LEDGER, LOCK

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from pipeline.deliver.tasks import FrameTask
    from pipeline.deliver.worker import Worker

Task = TypeVar("Task")

LONGEST_JOB = 1 << 20  # bytes; of a longer one the frames are not counted ahead
SHARE = 4  # idle workers may take this part of the memory: what they will be at takes more


class Crew(Generic[Task]):
    """Workers that nobody has taken yet; what leads out of it ends them."""

    def __init__(self, workers: Iterable[Worker[Task]] = ()) -> None:
        self._waiting = list(workers)
        self._beginning: threading.Thread | None = None

    def __enter__(self) -> Self:
        """Hold them."""
        return self

    def __exit__(self, *_: object) -> None:
        """End those that nobody took."""
        self.end()

    def begin(self, workers: int) -> None:
        """Begin so many beside what follows, or fewer where no more can be had: whoever needs more tries again."""
        load_ahead()
        beginning = threading.Thread(target=self._begin, args=(workers,), daemon=True)
        with contextlib.suppress(RuntimeError):  # no thread can be had
            beginning.start()
            self._beginning = beginning

    def _begin(self, workers: int) -> None:
        while len(self._waiting) < workers:
            worker: Worker[Task] | None = begin_worker(made_ready)
            if worker is None:
                return
            self._waiting.append(worker)

    def begun(self) -> list[Worker[Task]]:
        """Return those that nobody has taken, once all of them are there."""
        if self._beginning:
            self._beginning.join()
        return list(self._waiting)

    def take(self, most: int) -> list[Worker[Task]]:
        """Return at most so many of those that are alive; whoever takes them ends them. All others are ended."""
        alive = [worker for worker in self.begun() if worker.alive][:most]
        self._waiting = [worker for worker in self._waiting if worker not in alive]
        self.end()
        return alive

    def end(self) -> None:
        """End at once those that nobody took."""
        for worker in self.begun():
            self._waiting.remove(worker)
            worker.end()


def begun_ahead(shoots: Sequence[tuple[Path, Path]], workers: int | None) -> Crew[FrameTask]:
    """Begin workers for a first export of these shoots (job file, output folder); none where it is no first one.

    `workers` is how many may work side by side; None for one a core. No more are begun than the jobs name frames, nor
    than can load side by side.
    """
    crew: Crew[FrameTask] = Crew()
    cores = os.cpu_count() or 1
    most = min(workers or cores, cores)
    if most < 2 or not all(map(_is_first, shoots)):
        return crew
    memory = memory_to_use()
    fitting = most if memory is None else memory // (SHARE * IDLE)
    wanted = min(most, fitting, sum(_frames(job) for job, _ in shoots))
    if wanted > 0:
        crew.begin(wanted)
    return crew


def _is_first(shoot: tuple[Path, Path]) -> bool:
    _, out = shoot
    return not any(os.path.lexists(os.path.join(out, name)) for name in (LOCK, LEDGER))  # noqa: PTH118 (never raises)


def _frames(job: Path) -> int:
    """Return how many frames a job names; 0 where it is not to be read as it stands, which the full way tells."""
    try:
        with job.open("rb") as stream:
            text = stream.read(LONGEST_JOB + 1)
        frames = tomllib.loads(text.decode("utf-8-sig"))["frames"] if len(text) <= LONGEST_JOB else None
    except (OSError, ValueError, KeyError, RecursionError):
        return 0
    return len(frames) if isinstance(frames, list) else 0
