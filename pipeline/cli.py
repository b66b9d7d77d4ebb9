"""Arguments in, exit code out. Every verb is a few lines; what it needs is loaded when it runs."""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import re
import shlex
import signal
import sys
import threading
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.faults import Fault, RequestRefused, counted, of_job, printable_line, stopped_by
from pipeline.job.kept_names import LOCK

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from pipeline.deliver.export import Summary
    from pipeline.deliver.recall import Question, Told
    from pipeline.deliver.sheet.wanted import Paper
    from pipeline.deliver.storage.verb import Place
    from pipeline.deliver.survey import Survey
    from pipeline.deliver.workers import Hands

DONE, FAILED, WRONG_REQUEST = 0, 1, 2
MOST_WORKERS = 256
LONGEST_NAME = 200


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb. Returns 0 done, 1 something failed on the way, 2 the request was wrong."""
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # looking for some reads every package that is there
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a name that the terminal cannot show is no fault
    options = _parser().parse_args(arguments)
    try:
        with _ended_gently():
            code = _outcome(options)
        if sys.stdout:
            sys.stdout.flush()
    except BrokenPipeError:  # whoever read the output has gone
        _drop_output()
        return DONE
    except OSError as error:  # there is no room for the output
        _drop_output()
        _say(stopped_by(error))
        return FAILED
    return code


@contextlib.contextmanager
def _ended_gently() -> Iterator[None]:
    """Let a request to end (SIGTERM) stop a run as the keyboard does, where nobody has said otherwise."""
    ours = threading.current_thread() is threading.main_thread()
    if not ours or signal.getsignal(signal.SIGTERM) is not signal.SIG_DFL:
        yield
        return
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, signal.SIG_DFL)


def _outcome(options: argparse.Namespace) -> int:
    verb: Callable[[argparse.Namespace], int] = options.verb
    try:
        with _at_hand(options) as at_hand:
            return verb(at_hand)
    except RequestRefused as refused:
        _say(*refused.faults, f"{counted(len(refused.faults), 'fault')}; nothing was written")
        return WRONG_REQUEST
    except BrokenPipeError:
        raise
    except OSError as error:
        _say(stopped_by(error))
        return FAILED
    except KeyboardInterrupt:
        _say("\nstopped; what was finished is kept, the next run goes on from there")
        return FAILED


@contextlib.contextmanager
def _at_hand(options: argparse.Namespace) -> Iterator[argparse.Namespace]:
    """Give the options with places of this machine for what lies in storage; most often they are that already."""
    jobs = options.jobs if hasattr(options, "jobs") else [options.job] if hasattr(options, "job") else []
    if options.name in {"pack", "verify"} or not jobs:
        yield options
        return
    if not any(isinstance(one, str) for one in (*jobs, options.out)):
        from pipeline.deliver.jobs import find_jobs  # noqa: PLC0415 (each verb loads only what it needs)
        from pipeline.job.url import may_name_storage  # noqa: PLC0415 (as above)

        jobs = find_jobs(jobs) if hasattr(options, "jobs") else jobs
        if not any(map(may_name_storage, jobs)):
            yield options
            return
    elif getattr(options, "watch", False):
        raise RequestRefused(Fault("--watch", "only files of this machine can be watched", "leave it out"))
    from pipeline.deliver.storage.verb import at_hand  # noqa: PLC0415 (as above)

    with at_hand(options.name, jobs, options.out) as place:
        words = {"jobs": list(place.jobs)} if hasattr(options, "jobs") else {"job": place.jobs[0]}
        more = {"out": place.out, "storage": place}
        yield argparse.Namespace(**{**vars(options), **words, **more})
        if place.output and not getattr(options, "quiet", False):
            print(f"sent to {place.output.store.shown}")


def _say(*lines: object) -> None:
    print(*lines, sep="\n", file=sys.stderr)


def _drop_output() -> None:
    """Let what is still to be printed go nowhere, so that Python does not try once more at its end."""
    with contextlib.suppress(OSError, AttributeError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


class _ShowVersion(argparse.Action):
    """Says which version this is; no other verb waits for the packages to be looked through."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        """Print the version and end."""
        from importlib.metadata import version  # noqa: PLC0415 (it takes as long as all the rest of the parser)

        print(f"plateline {version('plateline')}")
        parser.exit()


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="plateline",
        description="One job file makes every picture that every outlet of a recipe shoot needs.",
        epilog="example: plateline new my-shoot, then edit my-shoot/job.toml, then plateline export my-shoot/job.toml",
    )
    parser.add_argument("--version", action=_ShowVersion, nargs=0, help="show program's version number and exit")
    verbs = parser.add_subparsers(title="verbs", required=True, metavar="VERB")

    def verb(name: str, run: Callable[[argparse.Namespace], int], about: str, example: str) -> argparse.ArgumentParser:
        added = verbs.add_parser(
            name,
            help=about,
            description=about[0].upper() + about[1:] + ".",
            epilog=f"example:\n  {example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        added.set_defaults(verb=run, name=name)
        return added

    new = verb("new", _new, "write a commented job file for a folder of frames", "plateline new shoots/soup")
    new.add_argument("folder", type=Path, metavar="FOLDER", help="the folder that holds the selected frames")
    check = verb(
        "check", _check, "read the job, its profiles and every frame's header", "plateline check shoots/soup/job.toml"
    )
    plan = verb(
        "plan", _plan, "show every rendition before a pixel is touched", "plateline plan shoots/soup/job.toml --json"
    )
    check.add_argument("--strict", action="store_true", help="end with 1 where anything is refused or cautioned")
    plan.add_argument("--json", action="store_true", help="print JSON, for programs")
    inspect = verb(
        "inspect",
        _inspect,
        "look at every frame: what is wrong, what to do about it, where its subject is",
        "plateline inspect shoots/soup/job.toml --accept",
    )
    inspect.add_argument("--json", action="store_true", help="print JSON, for programs: every measure")
    inspect.add_argument(
        "--accept", action="store_true", help='write what was found into the job, at frames that say subject = "auto"'
    )
    export = verb(
        "export", _export, "make every picture of the job", 'plateline export shoots/soup/job.toml --only "*/feed/*"'
    )
    _export_options(export)
    sheet = verb(
        "sheet", _sheet, "write the contact sheet of the job", "plateline sheet shoots/soup/job.toml --for partner"
    )
    _sheet_options(sheet)
    reply = verb(
        "reply",
        _reply,
        "take in what reviewers sent back, and say what to do",
        "plateline reply shoots/soup/job.toml ~/mail/reply.json",
    )
    for added in (check, plan, inspect, sheet, reply):
        added.add_argument("job", type=_place, metavar="JOB", help="the job file")
    reply.add_argument(
        "files", type=Path, metavar="FILE", nargs="*", help="a reply, saved or copied as text (none: what stands)"
    )
    for added in (check, plan, inspect, export, sheet, reply):
        added.add_argument(
            "--out", type=_place, metavar="DIR", help="the output folder (default: out, beside the job file)"
        )
    _work_options((export, sheet), inspect)
    check_out = verb(
        "verify", _verify, "read every delivered file back and say what is not as delivered", "plateline verify out"
    )
    check_out.add_argument(
        "folder", type=_folder, metavar="OUT", help="the folder that holds the delivered files; a zip with --delivery"
    )
    check_out.add_argument(
        "--against", type=Path, metavar="MANIFEST", help="the manifest to hold it against (default: the one in OUT)"
    )
    check_out.add_argument("--outlet", metavar="NAME", help="judge the files of this outlet alone")
    check_out.add_argument(
        "--delivery", type=_row, metavar="N", help="hold it against row N of the record of what was sent"
    )
    check_out.add_argument(
        "--table", action="store_true", help="show every field of every file, not what differs alone"
    )
    check_out.add_argument("--json", action="store_true", help="print JSON, for programs")
    check_out.add_argument("--quiet", action="store_true", help="say nothing but what is wrong")
    pack = verb(
        "pack",
        _pack,
        "put one outlet's pictures into a zip, with contact sheet, credit and checksums",
        'plateline pack out --outlet partner --to "Tidewater Beans"',
    )
    pack.add_argument("out", type=_folder, metavar="OUT", help="the output folder of an export")
    pack.add_argument("--outlet", required=True, metavar="NAME", help="whose pictures to pack")
    pack.add_argument("--only", metavar="GLOB", help="only renditions whose frame/outlet/target matches")
    pack.add_argument("--to", type=_name, metavar="NAME", help="whom it is sent to; adds a row to deliveries.jsonl")
    pack.add_argument(
        "--zip", type=_folder, metavar="FILE", help="the zip to write (default: named by shoot and round, beside OUT)"
    )
    pack.add_argument("--replace", action="store_true", help="write over a zip of other content")
    pack.add_argument("--anyway", action="store_true", help="pack whatever speaks against it, and say so in it")
    pack.add_argument("--quiet", action="store_true", help="say nothing but what went wrong")
    for added in (pack, check_out):
        added.add_argument(
            "--job", type=Path, metavar="JOB", help="the job file, beside which the record is (default: beside OUT)"
        )
    targets = verb(
        "targets", _targets, "list every target of every outlet profile", "plateline targets --profiles my-profiles"
    )
    targets.add_argument(
        "--profiles", type=Path, metavar="DIR", help="a folder of your own outlet profiles, listed as well"
    )
    schema = verb(
        "schema", _schema, "print the JSON Schema of the job file, for editors", "plateline schema > job.schema.json"
    )
    schema.add_argument("--of", choices=("job", "reply"), default="job", help="of what (default: the job file)")
    return parser


def _export_options(export: argparse.ArgumentParser) -> None:
    """Add what an export may be asked for besides what other verbs may be too."""
    export.add_argument(
        "jobs", type=_place, metavar="JOB", nargs="+", help="a job file, or a folder: every job.toml in it and below it"
    )
    export.add_argument("--only", metavar="GLOB", help="only renditions whose frame/outlet/target matches")
    export.add_argument(
        "--rename", action="store_true", help="move delivered files to the names the job gives them now"
    )
    export.add_argument(
        "--approved", action="store_true", help="make of finals only what is approved, whatever the targets ask for"
    )
    export.add_argument(
        "--scheduler", metavar="ADDRESS", help="work on the workers of a Dask scheduler, such as tcp://studio:8786"
    )
    about = "list what earlier exports made and the job makes no longer, or export and then remove it"
    export.add_argument("--prune", choices=("list", "remove"), help=about)
    export.add_argument("--watch", action="store_true", help="export again whatever changes, until Ctrl-C ends it")


def _work_options(making: Sequence[argparse.ArgumentParser], looking: argparse.ArgumentParser) -> None:
    """Add how frames are worked on, to what makes pictures of them and to what looks at them alone."""
    for added in (*making, looking):
        added.add_argument("--workers", type=_count, metavar="N", help="processes side by side (default: one a core)")
        added.add_argument("--quiet", action="store_true", help="say nothing but what went wrong")
    about = 'what all processes together may take, such as "1.2 GB" (default: most of what is free)'
    for added in making:
        added.add_argument("--memory", type=_memory, metavar="SIZE", help=about)


def _sheet_options(sheet: argparse.ArgumentParser) -> None:
    """Add what a contact sheet may be asked to be."""
    sheet.add_argument(
        "--for",
        dest="outlet",
        metavar="OUTLET",
        help="the sheet to pass on: this outlet's targets alone, nothing of yours (default: your own sheet)",
    )
    one_file = sheet.add_mutually_exclusive_group()
    one_file.add_argument("--single", action="store_true", help="one file to mail, with small pictures inside it")
    one_file.add_argument("--pdf", action="store_true", help="a PDF to print and to write on")
    sheet.add_argument("--paper", choices=("a4", "letter"), help="the paper of the PDF (default: a4)")


def _count(text: str) -> int:
    if not re.fullmatch("[0-9]{1,3}", text) or not 1 <= int(text) <= MOST_WORKERS:
        raise argparse.ArgumentTypeError(f"found {text[:20]!r}; a number from 1 to {MOST_WORKERS} is needed")
    return int(text)


def _memory(text: str) -> int:
    from pipeline.deliver.memory import byte_size  # noqa: PLC0415 (each verb loads only what it needs)

    try:
        return byte_size(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"found {text[:20]!r}; {error}") from None


def _row(text: str) -> int:
    if not re.fullmatch("[0-9]{1,9}", text) or int(text) < 1:
        raise argparse.ArgumentTypeError(f"found {text[:20]!r}; the number of a delivery is needed: 1, 2, ...")
    return int(text)


def _name(text: str) -> str:
    if not text.strip() or not text.isprintable() or len(text) > LONGEST_NAME:
        found = repr(text[:20]) if text else "nothing"
        raise argparse.ArgumentTypeError(f"found {found}; a name of 1 to {LONGEST_NAME} letters is needed")
    return text.strip()


def _place(text: str) -> Path | str:
    """Return a place of this machine, or the address of one in storage as text."""
    return text if re.match("[A-Za-z][A-Za-z0-9+.-]+://", text) else _folder(text)


def _folder(text: str) -> Path:
    if not text:
        raise argparse.ArgumentTypeError("found nothing; the name of a folder is needed")
    return Path(text)


def _out(options: argparse.Namespace, job: Path | None = None) -> Path:
    chosen: Path | None = options.out
    return chosen if chosen is not None else (job or options.job).parent / "out"


def _now() -> datetime:
    """Return this moment, with the offset of the place where the machine is set to be."""
    return datetime.now().astimezone()


def _tell(faults: Iterable[Fault]) -> None:
    """Print faults after what was printed so far, also where both go to one file."""
    if sys.stdout:
        sys.stdout.flush()
    for fault in faults:
        _say(fault)


def _new(options: argparse.Namespace) -> int:
    from pipeline.deliver.new import write_new_job  # noqa: PLC0415 (each verb loads only what it needs)

    terminal = sys.stderr if sys.stderr and sys.stderr.isatty() else None
    written, left_out = write_new_job(options.folder, terminal)
    _tell(left_out)
    print(f"wrote {written}\nnext: say what each frame shows in it, then: plateline plan {shlex.quote(str(written))}")
    return DONE


def _check(options: argparse.Namespace) -> int:
    return _answered(options, ["check", *["strict"][: options.strict]], _checked)


def _checked(options: argparse.Namespace) -> tuple[Survey, Told]:
    from pipeline.deliver.cut_words import cut_words  # noqa: PLC0415 (as above)
    from pipeline.deliver.recall import Told  # noqa: PLC0415 (as above)
    from pipeline.deliver.survey import survey  # noqa: PLC0415 (as above)
    from pipeline.plan.days import calendar_holds, calendar_lines  # noqa: PLC0415 (as above)
    from pipeline.plan.show import check_lines, not_inspected  # noqa: PLC0415 (as above)

    surveyed = survey(options.job).knowing(_out(options))
    plan = surveyed.plan({})
    over, to_come = calendar_lines(plan, _now())
    lines = [*check_lines(plan), *over]
    notes = [f"note: {line}" for line in filter(None, [*cut_words(plan), not_inspected(plan)])]
    frames = f"{len(plan.frames)} of {counted(len(surveyed.job.frames), 'frame')} can be read"
    renditions = counted(len(plan.renditions), "rendition")
    files = counted(sum(len(rendition.outputs) for rendition in plan.renditions), "file")
    last = f"{options.job}: the job is sound; {frames}, {renditions}, {files}"
    said = [(False, line) for line in (*lines, *to_come, *notes)]
    said += [*((True, str(fault)) for fault in surveyed.unreadable), (False, last)]
    code = FAILED if surveyed.unreadable or (options.strict and lines) else DONE
    return surveyed, Told(tuple(said), code, calendar_holds(plan))


def _plan(options: argparse.Namespace) -> int:
    return _answered(options, ["plan", *["json"][: options.json]], _planned)


def _planned(options: argparse.Namespace) -> tuple[Survey, Told]:
    from pipeline.deliver.measured import made_so_far  # noqa: PLC0415 (as above)
    from pipeline.deliver.recall import Told  # noqa: PLC0415 (as above)
    from pipeline.deliver.review.approved import approved_so_far  # noqa: PLC0415 (as above)
    from pipeline.deliver.survey import delivered_names, survey  # noqa: PLC0415 (as above)
    from pipeline.plan.show import plan_json, plan_lines  # noqa: PLC0415 (as above)

    surveyed = survey(options.job).knowing(_out(options))
    plan = approved_so_far(surveyed.plan(delivered_names(_out(options))), _out(options))
    made = made_so_far(plan, _out(options))
    shown = plan_json(plan, made) if options.json else "\n".join(plan_lines(plan, made))
    said = (*((True, str(fault)) for fault in surveyed.unreadable), (False, shown))
    return surveyed, Told(said, FAILED if surveyed.unreadable else DONE)


def _answered(
    options: argparse.Namespace, words: list[str], answer: Callable[[argparse.Namespace], tuple[Survey, Told]]
) -> int:
    """Say what a verb that only looks says: what it said before, where nothing has changed, else what it says now."""
    from pipeline.deliver.recall import question, recall, remember  # noqa: PLC0415 (as above)

    asked = question(words, options.job, _out(options), _now()) if _all_here(options) else None
    told = recall(asked) if asked else None
    if told is None:
        surveyed, told = answer(options)
        if asked and not surveyed.unreadable:
            remember(asked, surveyed.sources(), told)
    return _retold(told)


def _all_here(options: argparse.Namespace) -> bool:
    """Return whether all lies on this machine: what is in storage may change without a sign of it here."""
    return getattr(options, "storage", None) is None


def _retold(told: Told) -> int:
    for to_error, text in told.said:
        if to_error and sys.stdout:
            sys.stdout.flush()
        print(text, file=sys.stderr if to_error else sys.stdout)
    return told.code


def _inspect(options: argparse.Namespace) -> int:
    from pipeline.deliver.inspection.run import Asked, inspect  # noqa: PLC0415 (as above)
    from pipeline.deliver.inspection.show import report_json, report_lines  # noqa: PLC0415 (as above)

    asked = Asked(options.job, _out(options), options.workers, options.quiet or options.json, options.accept)
    report = inspect(asked, progress_to=sys.stderr or io.StringIO())
    for line in [report_json(report)] if options.json else report_lines(report, quiet=options.quiet):
        print(line if options.json else printable_line(line))
    _tell(report.faults)
    return FAILED if report.faults else DONE


def _export(options: argparse.Namespace) -> int:
    from pipeline.deliver.jobs import find_jobs  # noqa: PLC0415 (as above)

    jobs = find_jobs(options.jobs)
    if len(jobs) > 1 and options.out is not None:
        found = f"it names one folder, and {len(jobs)} jobs are asked for"
        wanted = "leave it out: each has its own, out beside the job file; or export them one by one"
        raise RequestRefused(Fault("--out", found, wanted))
    if options.prune and (options.watch or options.only is not None):
        raise RequestRefused(Fault("--prune", "it goes by the whole job", "leave out --watch and --only"))
    if options.prune == "list":
        return _prune(options, jobs)
    if options.watch and options.rename:
        found = "with --watch every edit of a title would give delivered files other names"
        raise RequestRefused(Fault("--rename", found, "run it once without --watch"))

    def run(hands: Hands | None = None) -> int:
        once = partial(_run, options, only=options.only, rename=options.rename, approved=options.approved, hands=hands)
        if options.watch:
            return _watch(jobs, once, quiet=options.quiet)
        code = once(jobs)
        return _prune(options, jobs) if options.prune == "remove" and code == DONE else code

    if options.scheduler is None:
        return run()
    if options.workers is not None:
        raise RequestRefused(Fault("--workers", "it counts processes of this machine", "leave it out with --scheduler"))
    from pipeline.deliver.cluster.client import cluster  # noqa: PLC0415 (as above)

    place: Place | None = getattr(options, "storage", None)
    with cluster(options.scheduler, place.away() if place else None) as far:
        if place is None or place.output is None:
            far.refuse_unseen([(job, _out(options, job)) for job in jobs])
        return run(hands=far.results)


def _watch(jobs: Sequence[Path], run: Callable[[Sequence[Path]], int], *, quiet: bool) -> int:
    """Export jobs again and again: what is wrong with one is told, and neither the others nor the watching stop."""
    from pipeline.deliver.watch import watch  # noqa: PLC0415 (as above)

    def export(changed: Sequence[Path]) -> None:
        try:
            run(changed)
        except RequestRefused as refused:
            if len(changed) > 1:
                for job in changed:
                    export([job])
                return
            _tell(of_job(fault, changed[0]) if len(jobs) > 1 else fault for fault in refused.faults)
        except BrokenPipeError:
            raise
        except OSError as error:
            _tell([stopped_by(error)])

    def say(line: str) -> None:
        if not quiet:
            print(printable_line(line), flush=True)

    try:
        watch(jobs, export, say)
    except KeyboardInterrupt:
        _say("\nstopped watching; what was finished is kept")
    return DONE


def _prune(options: argparse.Namespace, jobs: Sequence[Path]) -> int:
    """List what the jobs make no longer, or remove it."""
    from pipeline.deliver.prune import list_left_over, pruned_lines, remove_left_over  # noqa: PLC0415 (as above)

    look = list_left_over if options.prune == "list" else remove_left_over
    found = [look(job, _out(options, job)) for job in jobs]
    if not options.quiet:
        for line in (line for one in found for line in pruned_lines(one)):
            print(printable_line(line))
    faults = [fault for one in found for fault in one.faults]
    _tell(faults)
    return FAILED if faults else DONE


def _sheet(options: argparse.Namespace) -> int:
    if options.paper and not options.pdf:
        raise RequestRefused(Fault("--paper", "it names the paper of a PDF, and none is asked for", "add --pdf"))
    paper: Paper | None = ("letter" if options.paper == "letter" else "A4") if options.pdf else None
    return _run(options, [options.job], previews_only=True, sheet=(options.outlet, options.single, paper))


def _run(
    options: argparse.Namespace,
    jobs: Sequence[Path],
    *,
    only: str | None = None,
    rename: bool = False,
    previews_only: bool = False,
    approved: bool = False,
    sheet: tuple[str | None, bool, Paper | None] = (None, False, None),
    hands: Hands | None = None,
) -> int:
    from dataclasses import replace  # noqa: PLC0415 (as above)

    from pipeline.deliver.recall import question, recall  # noqa: PLC0415 (as above)

    words = ["export", f"only {only!r}", f"rename {rename}", f"approved {approved}"]
    alone = len(jobs) == 1 and not previews_only and _all_here(options)
    known = question(words, jobs[0], _out(options, jobs[0]), _now()) if alone else None
    told = recall(known) if known else None
    if told is None and known and not (only or rename or hands):
        told = _reworded(known, quiet=options.quiet)
    if told:
        return told.code if options.quiet else _retold(told)
    from pipeline.deliver.crew import begun_ahead  # noqa: PLC0415 (as above)

    ahead = only is None and not (previews_only or hands or options.memory) and _all_here(options)
    shoots = [(job, _out(options, job)) for job in jobs] if ahead else []
    with begun_ahead(shoots, options.workers) as crew:  # they load while what follows does
        from pipeline.deliver.export import Asked, export, export_each  # noqa: PLC0415 (as above)
        from pipeline.deliver.sheet.wanted import WantedSheet  # noqa: PLC0415 (as above)
        from pipeline.deliver.summary import part_of, parts_lines, summary_lines  # noqa: PLC0415 (as above)

        wanted, progress_to = WantedSheet(*sheet), sys.stderr or io.StringIO()
        how = Asked(jobs[0], Path(), only, options.workers, rename, previews_only, options.quiet, approved, wanted)
        how = replace(how, memory=options.memory)
        asked = [replace(how, job=job, out=_out(options, job)) for job in jobs]
        if len(asked) == 1:
            summary = export(asked[0], progress_to, hands, _through(options), crew)
            lines, faults = summary_lines(summary, asked[0].out), summary.faults
            if known:
                _remember_export(known, summary)
        else:
            all_came = export_each(asked, progress_to, hands, _through(options), crew)
            parts = {came.asked: part_of(came) for came in all_came}
            in_order = [parts[one] for one in asked]
            lines, faults = parts_lines(in_order), tuple(fault for part in in_order for fault in part.faults)
        if not options.quiet:
            print("\n".join(lines))
        _tell(faults)
        return FAILED if faults else DONE


def _through(options: argparse.Namespace) -> Callable[[Hands], Hands] | None:
    """Return what sends each frame's files to storage once they are made; None where they stay here."""
    place: Place | None = getattr(options, "storage", None)
    if place is None or place.output is None:
        return None
    from pipeline.deliver.storage.output import receiving, sending  # noqa: PLC0415 (as above)

    return partial(receiving if getattr(options, "scheduler", None) else sending, here=place.output)


def _reworded(known: Question, *, quiet: bool) -> Told | None:
    """Export by the short way, where nothing but captions is new; None where it is not for that."""
    try:
        if not (known.out / LOCK).is_file():
            return None
    except OSError:  # told by the full way
        return None
    from pipeline.deliver.progress import Progress  # noqa: PLC0415 (as above)
    from pipeline.deliver.reworded.run import export_reworded  # noqa: PLC0415 (as above)

    return export_reworded(known, Progress(sys.stderr or io.StringIO(), frames=0, files=0, weight=0, quiet=quiet))


def _remember_export(known: Question, summary: Summary) -> None:
    """Keep what this export would say if it were asked again, unless it has something left to do."""
    from pipeline.deliver.recall import Told, remember  # noqa: PLC0415 (as above)
    from pipeline.deliver.reworded.kept import keep_exported  # noqa: PLC0415 (as above)
    from pipeline.deliver.summary import counts_of, summary_lines  # noqa: PLC0415 (as above)

    if summary.sources and not summary.faults:
        again = summary.once_more()
        lines = tuple(summary_lines(again, known.out))
        found = remember(known, summary.sources, Told(tuple((False, line) for line in lines), DONE))
        if found and summary.exported and summary.only is None:
            keep_exported(known, found, summary.exported, lines, counts_of(again))


def _reply(options: argparse.Namespace) -> int:
    from pipeline.deliver.review.take import take_replies  # noqa: PLC0415 (as above)
    from pipeline.deliver.review.todo import reply_lines  # noqa: PLC0415 (as above)

    taken, standing = take_replies(options.job, _out(options), options.files, _now().date())
    for line in reply_lines(taken, standing):
        print(printable_line(line))
    return DONE


def _verify(options: argparse.Namespace) -> int:
    from pipeline.deliver.verify.show import report_json, report_lines  # noqa: PLC0415 (as above)
    from pipeline.deliver.verify.verify import verify  # noqa: PLC0415 (as above)

    if options.delivery is not None:
        return _verify_delivery(options)
    report = verify(options.folder, options.against, options.outlet)
    lines = [report_json(report)] if options.json else report_lines(report, table=options.table, quiet=options.quiet)
    for line in lines:
        print(line)
    return FAILED if report.findings else DONE


def _verify_delivery(options: argparse.Namespace) -> int:
    from pipeline.deliver.pack.check import check_delivery  # noqa: PLC0415 (as above)
    from pipeline.deliver.pack.show import checked_json, checked_lines  # noqa: PLC0415 (as above)

    checked = check_delivery(options.folder, options.delivery, options.job)
    for line in [checked_json(checked)] if options.json else checked_lines(checked, quiet=options.quiet):
        print(line)
    return DONE if checked.proven else FAILED


def _pack(options: argparse.Namespace) -> int:
    from pipeline.deliver.pack.pack import Asked, pack  # noqa: PLC0415 (as above)
    from pipeline.deliver.pack.show import packed_lines  # noqa: PLC0415 (as above)

    packed = pack(
        Asked(
            out=options.out,
            outlet=options.outlet,
            now=_now(),
            only=options.only,
            to=options.to,
            zip_file=options.zip,
            job=options.job,
            anyway=options.anyway,
            replace=options.replace,
        )
    )
    if not options.quiet:
        for line in packed_lines(packed):
            print(line)
    return DONE


def _targets(options: argparse.Namespace) -> int:
    from pipeline.job.listing import target_lines  # noqa: PLC0415 (as above)

    print("\n".join(target_lines(options.profiles)))
    return DONE


def _schema(options: argparse.Namespace) -> int:
    from pipeline.deliver.review.reply_file import reply_schema  # noqa: PLC0415 (as above)
    from pipeline.job.schema import job_schema  # noqa: PLC0415 (as above)

    print(reply_schema() if options.of == "reply" else job_schema())
    return DONE
