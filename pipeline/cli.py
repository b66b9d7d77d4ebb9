"""Arguments in, exit code out. Every verb is a few lines; what it needs is loaded when it runs."""

from __future__ import annotations

import argparse
import os
import sys
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.faults import RequestRefused

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

DONE, FAILED, WRONG_REQUEST = 0, 1, 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb. Returns 0 done, 1 something failed on the way, 2 the request was wrong."""
    options = _parser().parse_args(arguments)
    verb: Callable[[argparse.Namespace], int] = options.verb
    try:
        return verb(options)
    except RequestRefused as refused:
        for fault in refused.faults:
            print(fault, file=sys.stderr)
        count = len(refused.faults)
        print(f"{count} fault{'s' if count != 1 else ''}; nothing was written", file=sys.stderr)
        return WRONG_REQUEST
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        print("\nstopped; what was finished is kept, the next export goes on from there", file=sys.stderr)
        return FAILED


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
            "--out", type=Path, metavar="DIR", help="the output folder (default: out, beside the job file)"
        )
    for added in (export, sheet):
        added.add_argument("--workers", type=_count, metavar="N", help="processes side by side (default: one a core)")
        added.add_argument("--quiet", action="store_true", help="say nothing but what went wrong")
    targets = verb(
        "targets", _targets, "list every target of every outlet profile", "plateline targets --profiles my-profiles"
    )
    targets.add_argument(
        "--profiles", type=Path, metavar="DIR", help="a folder of your own outlet profiles, listed as well"
    )
    verb("schema", _schema, "print the JSON Schema of the job file, for editors", "plateline schema > job.schema.json")
    return parser


def _count(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 256:
        raise argparse.ArgumentTypeError(f"found {text!r}; a number from 1 to 256 is needed")
    return int(text)


def _out(options: argparse.Namespace) -> Path:
    chosen: Path | None = options.out
    return chosen if chosen is not None else options.job.parent / "out"


def _new(options: argparse.Namespace) -> int:
    from pipeline.deliver.new import write_new_job  # noqa: PLC0415 (each verb loads only what it needs)

    written, left_out = write_new_job(options.folder)
    for fault in left_out:
        print(fault, file=sys.stderr)
    print(f"wrote {written}\nnext: say what each frame shows in it, then: plateline plan {written}")
    return DONE


def _check(options: argparse.Namespace) -> int:
    from pipeline.deliver.survey import survey  # noqa: PLC0415 (as above)
    from pipeline.plan.show import check_lines  # noqa: PLC0415 (as above)

    surveyed = survey(options.job)
    plan = surveyed.plan({})
    print(*check_lines(plan), sep="\n")
    for fault in surveyed.unreadable:
        print(fault, file=sys.stderr)
    files = sum(len(rendition.outputs) for rendition in plan.renditions)
    frames = f"{len(plan.frames)} of {len(surveyed.job.frames)} frames can be read"
    print(f"{options.job}: the job is sound; {frames}, {len(plan.renditions)} renditions, {files} files")
    return FAILED if surveyed.unreadable else DONE


def _plan(options: argparse.Namespace) -> int:
    from pipeline.deliver.survey import delivered_names, survey  # noqa: PLC0415 (as above)
    from pipeline.plan.show import plan_json, plan_lines  # noqa: PLC0415 (as above)

    surveyed = survey(options.job)
    plan = surveyed.plan(delivered_names(_out(options)))
    for fault in surveyed.unreadable:
        print(fault, file=sys.stderr)
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
        Asked(options.job, out, only, options.workers, rename, previews_only, options.quiet), progress_to=sys.stderr
    )
    if not options.quiet:
        print("\n".join(summary_lines(summary, out)))
    for fault in summary.faults:
        print(fault, file=sys.stderr)
    return FAILED if summary.faults else DONE


def _targets(options: argparse.Namespace) -> int:
    from pipeline.job.listing import target_lines  # noqa: PLC0415 (as above)

    print("\n".join(target_lines(options.profiles)))
    return DONE


def _schema(_options: argparse.Namespace) -> int:
    from pipeline.job.schema import job_schema  # noqa: PLC0415 (as above)

    print(job_schema())
    return DONE
