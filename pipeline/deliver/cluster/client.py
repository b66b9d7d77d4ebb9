"""An export's frames on a Dask cluster: one task a frame; this process alone judges, records and tells.

The scheduler is Dask's own, and so is what it does when a worker is lost: its task goes to another one. A worker is
taken only where it makes the same bytes and sees the same folders.
"""

from __future__ import annotations

import contextlib
import hashlib
import logging
import secrets
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from pipeline.deliver.cluster.at_work import about, seen, work_as
from pipeline.deliver.cluster.away import Away
from pipeline.deliver.cluster.versions import differences, versions
from pipeline.deliver.done import FrameDone
from pipeline.deliver.workers import results
from pipeline.deliver.write import sweep_unfinished, unfinished
from pipeline.faults import Fault, RequestRefused, counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from types import ModuleType

    from distributed import Client, Future

    from pipeline.deliver.tasks import FrameTask, RenditionTask

EXTRA = "plateline[cluster]"
ANSWER_WITHIN_S = 10
SCHEMES = ("tcp://", "tls://")
QUIET_LOGGERS = ("distributed", "distributed.client", "tornado", "tornado.application")


@contextlib.contextmanager
def cluster(address: str, away: Away | None = None) -> Iterator[Cluster]:
    """Connect to the scheduler at `address`, and see that its workers are like this process.

    `away` says what of the export lies in storage. Raises `RequestRefused` where the extra is missing, the address is
    none, nobody answers, or a worker is not fit.
    """
    if not address.startswith(SCHEMES):
        raise _refused(address, "this is no address of a scheduler", "write it as tcp://HOST:PORT")
    client = _connected(address, _dask())
    try:
        yield Cluster(client, address, _fit_workers(client, address), away or Away())
    finally:
        with contextlib.suppress(Exception):  # a scheduler that has gone cannot be told good-bye
            client.close(timeout=ANSWER_WITHIN_S)


@dataclass(frozen=True, slots=True)
class Cluster:
    """Workers at hand: a connection, and the addresses of those that were there when it was made."""

    client: Client
    address: str
    workers: tuple[str, ...]
    away: Away = Away()  # noqa: RUF009 (frozen)

    def refuse_unseen(self, shoots: Iterable[tuple[Path, Path]]) -> None:
        """See that every worker reads these job files, and reads and writes their output folders (job, out).

        A folder that is not there is made for that, and taken away again where it is not seen. Raises `RequestRefused`.
        """
        wanted = "let all workers have the folders of the job and of --out at the same place as here"
        faults = [
            Fault(_worker(worker), found, wanted)
            for job, out in shoots
            for worker, found in self._unseen(job.absolute(), out.absolute()).items()
        ]
        if faults:
            raise RequestRefused(*faults)

    def _unseen(self, job: Path, out: Path) -> dict[str, str]:
        """Return what workers cannot do with the folders of a shoot, by worker, in words."""
        new = [folder for folder in (out, *out.parents) if not folder.exists()]
        token = secrets.token_hex(16)
        probe = out / unfinished("probe")
        try:
            digest = None if self.away.origins else hashlib.sha256(job.read_bytes()).hexdigest()
            out.mkdir(parents=True, exist_ok=True)
            probe.write_text(token, encoding="utf-8")
        except (OSError, ValueError):
            return {}  # the export itself says what is wrong with its own places
        said: dict[str, object] = {}
        try:
            said = self.client.run(seen, str(job), digest, str(probe), token, on_error="return")
            return {worker: str(found) for worker, found in said.items() if found is not None}
        finally:
            with contextlib.suppress(OSError):
                probe.unlink()
                for folder in new if any(said.values()) or not said else ():
                    folder.rmdir()

    def results(self, tasks: list[FrameTask]) -> Iterator[tuple[FrameTask, FrameDone]]:
        """Yield each task with what came of it, as it is done; what needs no pixels is done here, and first."""
        yield from results([task for task in tasks if not task.renders], 1)
        yield from self._far([task for task in tasks if task.renders])

    def _far(self, tasks: list[FrameTask]) -> Iterator[tuple[FrameTask, FrameDone]]:
        """Yield what workers make; where the scheduler goes away, what is not done is told in one fault."""
        waiting = {
            self.client.submit(
                work_as, versions(), _absolute(task), self.away, key=_key(number, task), pure=False
            ): task
            for number, task in enumerate(tasks)
        }
        try:
            for future in self._as_done(list(waiting)):
                task = waiting.pop(future)
                came = self._came(future, task)
                if not waiting:  # before the last is told: whoever has heard it may ask for no more
                    _sweep(tasks)
                yield task, came
            yield from self._gone(waiting.values())
        finally:  # a run that is stopped starts no further task
            with contextlib.suppress(Exception):
                self.client.cancel(list(waiting), force=True)

    def _as_done(self, futures: list[Future[FrameDone]]) -> Iterator[Future[FrameDone]]:
        """Yield futures as they are done; end early where the scheduler is gone."""
        from distributed import as_completed  # noqa: PLC0415 (of the extra)

        done = as_completed(futures, loop=self.client.loop, raise_errors=False)
        for future in done:
            if future.cancelled():
                return
            if future.status == "lost":  # its worker is gone, and what came of it too: another makes it again
                done.add(future)
            else:
                yield future

    def _came(self, future: Future[FrameDone], task: FrameTask) -> FrameDone:
        """Return what came of a task. A worker that dies of it several times costs the task, not the run."""
        from distributed import KilledWorker  # noqa: PLC0415 (of the extra)

        try:
            return future.result()
        except KilledWorker:
            found = "every worker that tried to make it was stopped"
            wanted = "run export again; if memory is short there, start fewer workers a machine"
            return _failed(task, Fault(task.file, found, wanted))

    def _gone(self, left: Iterable[FrameTask]) -> Iterator[tuple[FrameTask, FrameDone]]:
        tasks = list(left)
        found = f"the scheduler stopped answering; {counted(len(tasks), 'frame')} of this run were not made"
        for task in tasks:  # equal faults are told once
            yield task, _failed(task, Fault(self.address, found, "start it again, and run export again"))


def _sweep(tasks: Iterable[FrameTask]) -> None:
    """Remove what workers that were lost left unfinished; their tasks were done by others meanwhile."""
    places: dict[Path, set[str]] = {}
    for task in tasks:
        made = (file.output.path for one in task.renditions for file in one.files)
        places.setdefault(task.out, set()).update(str(PurePosixPath(path).parent) for path in made)
    for out, written in places.items():
        sweep_unfinished(out, written)


def _failed(task: FrameTask, fault: Fault) -> FrameDone:
    return FrameDone(task.file, (), (fault,), (), 0, 0)


def _key(number: int, task: FrameTask) -> str:
    """Return a name for a task that is the task's alone; it begins with what a dashboard should show."""
    return f"frame-{number}-{Path(task.file).stem[:40]}-{secrets.token_hex(8)}"


def _absolute(task: FrameTask) -> FrameTask:
    """Return a task whose places say the same in a worker, which has another working folder."""
    header = replace(task.header, path=task.header.path.absolute())
    return replace(
        task,
        header=header,
        out=task.out.absolute(),
        renditions=tuple(_with_absolute_beside(one) for one in task.renditions),
    )


def _with_absolute_beside(one: RenditionTask) -> RenditionTask:
    beside = one.rendition.beside
    if beside is None:
        return one
    header = replace(beside.header, path=beside.header.path.absolute())
    return replace(one, rendition=replace(one.rendition, beside=replace(beside, header=header)))


def _dask() -> ModuleType:
    """Return the library, its log silenced: what goes wrong is told in our own sentences."""
    try:
        import distributed  # noqa: PLC0415 (of the extra)
    except ImportError:
        found = "the part of plateline that works on a cluster is not installed"
        raise RequestRefused(Fault("--scheduler", found, f"pip install '{EXTRA}'")) from None
    for name in QUIET_LOGGERS:
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    return distributed


def _connected(address: str, dask: ModuleType) -> Client:
    try:
        client: Client = dask.Client(address, timeout=ANSWER_WITHIN_S, set_as_default=False)
    except (ValueError, TypeError) as error:  # no port, an unknown scheme, no certificates for tls://
        raise _refused(address, f"it cannot be used ({error})", "write it as tcp://HOST:PORT") from None
    except OSError:
        found = f"no scheduler answered there within {ANSWER_WITHIN_S} seconds"
        raise _refused(address, found, "start one with: dask scheduler") from None
    return client


def _fit_workers(client: Client, address: str) -> tuple[str, ...]:
    """Return the addresses of the workers, all of which are fit. Raises `RequestRefused` with what each is not."""
    workers = client.scheduler_info(n_workers=-1)["workers"]
    if not workers:
        raise _refused(address, "this scheduler has no workers", f"start some with: dask worker {address} --nthreads 1")
    said = client.run(about, on_error="return")
    faults = [fault for one in workers if (fault := _unfit(one, workers[one]["nthreads"], said.get(one)))]
    if faults:
        raise RequestRefused(*faults)
    return tuple(workers)


def _unfit(worker: str, threads: int, said: object) -> Fault | None:
    """Return what makes a worker unfit, None where it is fit. `said` is what it answered: versions or an exception."""
    if not isinstance(said, dict):
        found = "it has no plateline that could work for this one"
        return Fault(_worker(worker), found, f"install the same '{EXTRA}' there as here")
    if other := differences(said, versions()):
        return Fault(_worker(worker), f"it has {other}", "install the same versions there as here")
    if threads != 1:
        found = f"it would work on {threads} frames at once, in one process"
        return Fault(_worker(worker), found, "start it with --nthreads 1, and --nworkers for more at once")
    return None


def _worker(address: str) -> str:
    return f"worker {address}"


def _refused(address: str, found: str, wanted: str) -> RequestRefused:
    return RequestRefused(Fault(f"--scheduler {address}", found, wanted))
