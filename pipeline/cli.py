"""Arguments in, exit code out. Every verb is a few lines; what it needs is loaded when it runs."""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import re
import shlex
import sys
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.faults import Fault, RequestRefused, counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

DONE, FAILED, WRONG_REQUEST = 0, 1, 2
MOST_WORKERS = 256


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb. Returns 0 done, 1 something failed on the way, 2 the request was wrong."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a name that the terminal cannot show is no fault
    options = _parser().parse_args(arguments)
    try:
        code = _outcome(options)
        if sys.stdout:
            sys.stdout.flush()
    except BrokenPipeError:  # whoever read the output has gone
        _drop_output()
        return DONE
    except OSError as error:  # there is no room for the output
        _drop_output()
        _say(_stopped(error))
        return FAILED
    return code


def _outcome(options: argparse.Namespace) -> int:
    verb: Callable[[argparse.Namespace], int] = options.verb
    try:
        return verb(options)
    except RequestRefused as refused:
        _say(*refused.faults, f"{counted(len(refused.faults), 'fault')}; nothing was written")
        return WRONG_REQUEST
    except BrokenPipeError:
        raise
    except OSError as error:
        _say(_stopped(error))
        return FAILED
    except KeyboardInterrupt:
        _say("\nstopped; what was finished is kept, the next export goes on from there")
        return FAILED


def _say(*lines: object) -> None:
    print(*lines, sep="\n", file=sys.stderr)


def _drop_output() -> None:
    """Let what is still to be printed go nowhere, so that Python does not try once more at its end."""
    with contextlib.suppress(OSError, AttributeError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _stopped(error: OSError) -> Fault:
    """Return what stopped a run in the middle: a full disk, a folder that went away."""
    place = os.fsdecode(error.filename) if isinstance(error.filename, str | bytes) else "the output"
    wanted = "mend that and run it again: what was finished is kept"
    return Fault(place, f"the run stopped here ({(error.strerror or str(error)).lower()})", wanted)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="plateline",
        description="One job file makes every picture that every outlet of a recipe shoot needs.",
        epilog="example: plateline new my-shoot, then edit my-shoot/job.toml, then plateline export my-shoot/job.toml",
    )
    parser.add_argument("--version", action="version", version=f"plateline {version('plateline')}")
    verbs = parser.add_subparsers(title="verbs", required=True, metavar="VERB")

    def verb(name: str, run: Callable[[argparse.Namespace], int], about: str, example: str) -> argparse.ArgumentParser:
        added = verbs.add_parser(
            name,
            help=about,
            description=about[0].upper() + about[1:] + ".",
            epilog=f"example:\n  {example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        added.set_defaults(verb=run)
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
    export = verb(
        "export", _export, "make every picture of the job", 'plateline export shoots/soup/job.toml --only "*/feed/*"'
    )
    export.add_argument("--only", metavar="GLOB", help="only renditions whose frame/outlet/target matches")
    export.add_argument(
        "--rename", action="store_true", help="move delivered files to the names the job gives them now"
    )
    sheet = verb("sheet", _sheet, "write the contact sheet of the job", "plateline sheet shoots/soup/job.toml")
    for added in (check, plan, export, sheet):
        added.add_argument("job", type=Path, metavar="JOB", help="the job file")
    for added in (plan, export, sheet):
        added.add_argument(
            "--out", type=_folder, metavar="DIR", help="the output folder (default: out, beside the job file)"
        )
    for added in (export, sheet):
        added.add_argument("--workers", type=_count, metavar="N", help="processes side by side (default: one a core)")
        added.add_argument("--quiet", action="store_true", help="say nothing but what went wrong")
    check_out = verb(
        "verify", _verify, "read every delivered file back and say what is not as delivered", "plateline verify out"
    )
    check_out.add_argument("folder", type=_folder, metavar="OUT", help="the folder that holds the delivered files")
    check_out.add_argument(
        "--against", type=Path, metavar="MANIFEST", help="the manifest to hold it against (default: the one in OUT)"
    )
    check_out.add_argument(
        "--table", action="store_true", help="show every field of every file, not what differs alone"
    )
    check_out.add_argument("--json", action="store_true", help="print JSON, for programs")
    check_out.add_argument("--quiet", action="store_true", help="say nothing but what is wrong")
    targets = verb(
        "targets", _targets, "list every target of every outlet profile", "plateline targets --profiles my-profiles"
    )
    targets.add_argument(
        "--profiles", type=Path, metavar="DIR", help="a folder of your own outlet profiles, listed as well"
    )
    verb("schema", _schema, "print the JSON Schema of the job file, for editors", "plateline schema > job.schema.json")
    return parser


def _count(text: str) -> int:
    if not re.fullmatch("[0-9]{1,3}", text) or not 1 <= int(text) <= MOST_WORKERS:
        raise argparse.ArgumentTypeError(f"found {text[:20]!r}; a number from 1 to {MOST_WORKERS} is needed")
    return int(text)


def _folder(text: str) -> Path:
    if not text:
        raise argparse.ArgumentTypeError("found nothing; the name of a folder is needed")
    return Path(text)


def _out(options: argparse.Namespace) -> Path:
    chosen: Path | None = options.out
    return chosen if chosen is not None else options.job.parent / "out"


def _tell(faults: Iterable[Fault]) -> None:
    """Print faults after what was printed so far, also where both go to one file."""
    if sys.stdout:
        sys.stdout.flush()
    for fault in faults:
        _say(fault)


def _new(options: argparse.Namespace) -> int:
    from pipeline.deliver.new import write_new_job  # noqa: PLC0415 (each verb loads only what it needs)

    written, left_out = write_new_job(options.folder)
    _tell(left_out)
    print(f"wrote {written}\nnext: say what each frame shows in it, then: plateline plan {shlex.quote(str(written))}")
    return DONE


def _check(options: argparse.Namespace) -> int:
    from pipeline.deliver.cut_words import cut_words  # noqa: PLC0415 (as above)
    from pipeline.deliver.survey import survey  # noqa: PLC0415 (as above)
    from pipeline.plan.show import check_lines  # noqa: PLC0415 (as above)

    surveyed = survey(options.job)
    plan = surveyed.plan({})
    lines = check_lines(plan)
    for line in lines:
        print(line)
    for line in cut_words(plan):
        print(f"note: {line}")
    _tell(surveyed.unreadable)
    frames = f"{len(plan.frames)} of {counted(len(surveyed.job.frames), 'frame')} can be read"
    renditions = counted(len(plan.renditions), "rendition")
    files = counted(sum(len(rendition.outputs) for rendition in plan.renditions), "file")
    print(f"{options.job}: the job is sound; {frames}, {renditions}, {files}")
    return FAILED if surveyed.unreadable or (options.strict and lines) else DONE


def _plan(options: argparse.Namespace) -> int:
    from pipeline.deliver.survey import delivered_names, survey  # noqa: PLC0415 (as above)
    from pipeline.plan.show import plan_json, plan_lines  # noqa: PLC0415 (as above)

    surveyed = survey(options.job)
    plan = surveyed.plan(delivered_names(_out(options)))
    _tell(surveyed.unreadable)
    print(plan_json(plan) if options.json else "\n".join(plan_lines(plan)))
    return FAILED if surveyed.unreadable else DONE


def _export(options: argparse.Namespace) -> int:
    return _run(options, only=options.only, rename=options.rename, previews_only=False)


def _sheet(options: argparse.Namespace) -> int:
    return _run(options, only=None, rename=False, previews_only=True)


def _run(options: argparse.Namespace, *, only: str | None, rename: bool, previews_only: bool) -> int:
    from pipeline.deliver.export import Asked, export  # noqa: PLC0415 (as above)
    from pipeline.deliver.summary import summary_lines  # noqa: PLC0415 (as above)

    out = _out(options)
    summary = export(
        Asked(options.job, out, only, options.workers, rename, previews_only, options.quiet),
        progress_to=sys.stderr or io.StringIO(),
    )
    if not options.quiet:
        print("\n".join(summary_lines(summary, out)))
    _tell(summary.faults)
    return FAILED if summary.faults else DONE


def _verify(options: argparse.Namespace) -> int:
    from pipeline.deliver.verify.show import report_json, report_lines  # noqa: PLC0415 (as above)
    from pipeline.deliver.verify.verify import verify  # noqa: PLC0415 (as above)

    report = verify(options.folder, options.against)
    lines = [report_json(report)] if options.json else report_lines(report, table=options.table, quiet=options.quiet)
    for line in lines:
        print(line)
    return FAILED if report.findings else DONE


def _targets(options: argparse.Namespace) -> int:
    from pipeline.job.listing import target_lines  # noqa: PLC0415 (as above)

    print("\n".join(target_lines(options.profiles)))
    return DONE


def _schema(_options: argparse.Namespace) -> int:
    from pipeline.job.schema import job_schema  # noqa: PLC0415 (as above)

    print(job_schema())
    return DONE
