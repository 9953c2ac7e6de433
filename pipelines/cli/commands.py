"""The commands. stdout carries the answer alone; progress and hints go to stderr; nothing prompts."""

from __future__ import annotations

import csv
import datetime
import io
import os
import shutil
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

import click

from pipelines.cli import department, formats
from pipelines.contract.errors import UserError, WrongUsage
from pipelines.store.store import Store, init_store, refuse_no_folder, write_whole, writing

if TYPE_CHECKING:
    from pipelines.intake.take import IntakeOutcome, IntakeRequest

# Opening a database must not look for extensions on a network, and checking a file must not report itself.
os.environ.setdefault("GX_ANALYTICS_ENABLED", "false")

FIX_COLUMNS = ("file_name", "source_row", "column_name", "rule", "message", "remedy")
# How a command ends for each way in which an intake can end; a refused file says its own.
EXIT_CODES = {"held": 14, "nothing_accepted": 10, "left_out": 10, "unchanged": 0, "stored": 0, "sound": 0}


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper) and stream.encoding.lower() != "utf-8":
            stream.reconfigure(encoding="utf-8")
    try:
        code = _invoked(sys.argv[1:] if argv is None else list(argv))
        # Here, where a reader that has gone is no error; at the end of the process it would be one.
        sys.stdout.flush()
    except UserError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    except click.ClickException as error:
        error.show(sys.stderr)
        return error.exit_code
    except BrokenPipeError:
        # Whoever reads the answer has heard enough.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except (KeyboardInterrupt, click.Abort):
        print("Stopped; what was live is as it was.", file=sys.stderr)
        return 1
    except Exception as error:
        print(one_line(error), file=sys.stderr)
        if os.environ.get("COHORT_TRACEBACK"):
            raise
        return 1
    return code if isinstance(code, int) else 0


def _invoked(arguments: list[str]) -> object:
    # Not cli.main, which ends the process where a reader has gone.
    try:
        with cli.make_context("python3 run.py", arguments) as context:
            return cli.invoke(context)
    except click.exceptions.Exit as end:  # after --help
        return end.exit_code


def one_line(error: Exception) -> str:
    """Says what happened without what the data were: messages of libraries may quote cells."""
    text = str(error)
    if "No space left" in text or getattr(error, "errno", None) == 28:
        return "The disk is full; what was live is as it was."
    if getattr(error, "errno", None) == 30 or "Read-only file system" in text:
        return "The store is read-only here; nothing was changed."
    if isinstance(error, PermissionError):
        return f"No permission for {error.filename}; nothing was changed."
    if isinstance(error, MemoryError) or "Out of Memory" in text:
        return (
            "The file does not fit the memory limit; nothing was stored. Give fewer files at once, or raise"
            " memory_limit in programme.yaml (such as 8 GB)."
        )
    if isinstance(error, OSError):
        return (
            f"{error.strerror or type(error).__name__}: {error.filename or ''}; what was live is as it was."
        )
    return f"Unexpected: {type(error).__name__}; what was live is as it was. COHORT_TRACEBACK=1 shows where."


def progress(text: str) -> None:
    """Progress goes to stderr: stdout carries the answer alone."""
    print(text, file=sys.stderr, flush=True)


# ---- options that several commands have

PATH = click.Path(path_type=Path)
Command = Callable[..., Any]


def _options(*options: Callable[[Command], Command]) -> Callable[[Command], Command]:
    def add(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return add


STORE = click.option(
    "--store",
    "root",
    type=PATH,
    metavar="DIR",
    default=lambda: Path(os.environ.get("COHORT_STORE") or "store"),
    help="the folder of the programme's data; without it COHORT_STORE, else ./store",
)
FORMAT = click.option(
    "--format", "form", type=click.Choice(["table", "csv", "json"]), default="table", help="of the answer"
)
TAKING = _options(
    click.option(
        "--source", default="main", metavar="NAME", help="which log it is from, if there are several"
    ),
    click.option("--through", metavar="YYYY-MM", help="the data are complete through that month"),
    click.option(
        "--as-of",
        "tally_of",
        metavar="YYYY-MM-DD",
        help="the files are the accreditor's own tally of that day: requirement and count, a sheet a trainee",
    ),
    click.option(
        "--append", is_flag=True, help="add to what is live; else an export replaces the one before"
    ),
    click.option(
        "--accept-withdrawals",
        "accepts",
        is_flag=True,
        help="let happen what would be held; with --by and --reason",
    ),
    click.option("--by", metavar="WHO", help="who accepts it; stands in the receipt"),
    click.option("--reason", metavar="TEXT", help="why; stands in the receipt"),
    click.option(
        "--fixes", type=PATH, metavar="DIR", help="write there, for each trainee, the list of rows to correct"
    ),
    click.option(
        "--take-the-rest", is_flag=True, help="leave those as they are who would be held, and take the others"
    ),
    click.option(
        "--all", "everything", is_flag=True, help="print all there is to say, not only what fits a screen"
    ),
)


@click.group(
    cls=department.Commands,
    help="Where each trainee of a cohort stands.",
    context_settings={"help_option_names": ["-h", "--help"]},
)
def cli() -> None:
    """Every command is one of these."""


def whole(root: Path) -> Store:
    """A store to read from; raises StoreDamaged where a live file of it is missing or not what was written."""
    store = Store(root)
    store.check_whole()
    return store


# Each command imports what it needs: `show` must not wait for the libraries that check files.


@cli.command(help="a made-up programme: print its cohort, open its dashboard")
@click.option("--no-serve", is_flag=True, help="end after the table")
@click.option("--specialty", metavar="NAME", help="ophthalmology, or general_surgery")
def demo(*, no_serve: bool, specialty: str | None) -> int:
    from pipelines.cli.demo import DEMOS, FIRST, run

    if specialty not in (None, *DEMOS):
        raise WrongUsage(
            f"demo: there is no made-up programme of {specialty}. Use one of: {', '.join(DEMOS)}"
        )
    return run(serve=not no_serve, specialty=specialty or FIRST)


@cli.command(help="pass the tests (run.py does this itself)")
def test() -> int:
    raise WrongUsage("The tests are started by run.py: python3 run.py test")


@cli.command(help="make an empty store; or give the one that is there another specialty file")
@STORE
@click.option("--specialty", required=True, metavar="NAME-or-FILE", help="the rules to count by")
@click.option("--programme", metavar="NAME", help="its title; needed for a new store")
def init(root: Path, specialty: str, programme: str | None) -> int:
    from pipelines.specialty.load import load_specialty, specialty_text

    title, text = load_specialty(specialty).title, specialty_text(specialty)
    if programme is None:
        return _replace_specialty(root, text, title)
    from pipelines.build.build import build_and_publish, next_manifest

    store = init_store(root, text, programme)
    try:
        with writing(store):
            build_and_publish(store, next_manifest(store, [], datetime.date.today()))
    except BaseException:
        shutil.rmtree(root)
        raise
    print(f"{root}: an empty store for {store.programme.title}, {title}.")
    progress(f"Next: python3 run.py intake ROSTER.csv CASES.csv … --store {root}")
    return 0


def _replace_specialty(root: Path, text: bytes, title: str) -> int:
    from pipelines.build.build import build_and_publish, next_manifest

    try:
        store = Store(root)
    except WrongUsage:
        raise WrongUsage(f"{root} is not a store yet; a new one needs --programme NAME.") from None
    with writing(store):
        store.check_intakes()
        path, before = store.specialty_file, store.specialty_file.read_bytes()
        write_whole(path, text)
        try:
            manifest = next_manifest(store, store.current().live, datetime.date.today())
            build_and_publish(store, manifest)
        except BaseException:
            write_whole(path, before)
            raise
    print(f"{root}: counts by {title} as given now. Snapshot {manifest.snapshot} is live.")
    return 0


@cli.command(help="validate exports, or a specialty file; store nothing")
@click.argument("files", nargs=-1, type=PATH, metavar="FILE…")
@STORE
@click.option(
    "--specialty",
    metavar="NAME-or-FILE",
    help="judge by it and read no store; alone, check it and print each of its rules",
)
@TAKING
@FORMAT
def check(files: tuple[Path, ...], root: Path, specialty: str | None, form: str, **options: Any) -> int:
    from pipelines.specialty.load import load_specialty
    from pipelines.specialty.requirement_faults import requirement_remarks
    from pipelines.specialty.sentences import rule_sentences

    if not files:
        if not specialty:
            raise WrongUsage("check: name the files to check, or a specialty with --specialty.")
        spec = load_specialty(specialty)
        print("\n".join(rule_sentences(spec)))
        for path, remark in requirement_remarks(spec):
            progress(f"Look again: {path} {remark}.")
        return 0
    from pipelines.contract.errors import FileRefused
    from pipelines.intake.take import IntakeOutcome, try_out, try_without_store

    try:
        request = _request(files, options)
        if specialty:
            progress("No store is read: rules that need a roster are skipped unless one is among the files.")
            outcome = try_without_store(load_specialty(specialty), request, progress)
        else:
            outcome = try_out(Store(root), request, progress)
    except FileRefused as refusal:
        outcome = IntakeOutcome("refused", refusal.findings)
    if form != "table":
        _print_findings(outcome, form)
    return _end(outcome, options, sys.stdout if form == "table" else sys.stderr)


@cli.command(help="validate exports, store them, publish a new snapshot")
@click.argument("files", nargs=-1, required=True, type=PATH, metavar="FILE…")
@STORE
@TAKING
@click.option("--strict", is_flag=True, help="store nothing if a row is left out")
def intake(files: tuple[Path, ...], root: Path, **options: Any) -> int:
    from pipelines.contract.errors import FileRefused
    from pipelines.intake.take import IntakeOutcome, take

    store = Store(root)
    try:
        # The lock first: of several reasons to end, another writer comes before wrong usage.
        with writing(store):
            request = _request(files, options)
        outcome = take(store, request, progress)
    except FileRefused as refusal:
        outcome = IntakeOutcome("refused", refusal.findings)
    return _end(outcome, options, sys.stdout)


@cli.command(
    "map", help="list the unknown headers and words of a source's files, for a person to say what they mean"
)
@click.argument("files", nargs=-1, required=True, type=PATH, metavar="FILE…")
@STORE
@click.option(
    "--source", default="main", metavar="NAME", help="which log they are from, if there are several"
)
def map_words(files: tuple[Path, ...], root: Path, source: str) -> int:
    from pipelines.cli.mapping import run

    return run(files, Store(root), source)


def _request(files: tuple[Path, ...], options: dict[str, Any]) -> IntakeRequest:
    from pipelines.files.reading import read_export
    from pipelines.intake.take import IntakeRequest

    by, reason = ((options[name] or "").strip() for name in ("by", "reason"))
    if options["accepts"] and not (by and reason):
        raise WrongUsage("--accept-withdrawals needs --by WHO and --reason TEXT.")
    if options["fixes"]:
        refuse_no_folder("--fixes", options["fixes"])
    return IntakeRequest(
        files=[read_export(path, number) for number, path in enumerate(files, 1)],
        today=datetime.date.today(),
        source=options["source"],
        through=options["through"],
        tally_of=options["tally_of"],
        append=options["append"],
        strict=options.get("strict", False),
        accepted_by=by if options["accepts"] else None,
        reason=reason if options["accepts"] else None,
        take_the_rest=options["take_the_rest"],
        name_cases=bool(options["fixes"]),
    )


# ---- what an intake says


def _end(outcome: IntakeOutcome, options: dict[str, Any], stream: TextIO) -> int:
    """Say what came of it and how it ended, write the lists of rows to correct if asked, and give the exit code.

    The answer goes to `stream`, how it ended to stdout where something was stored.
    """
    from pipelines.intake import answers

    everything = bool(options["everything"])
    if outcome.status == "refused":
        progress("\n".join(answers.refusal_lines(outcome, everything=everything)))
        return 12 if any(finding.rule.startswith("identifier_") for finding in outcome.refused) else 11
    for line in answers.lines(outcome, everything=everything):
        print(line, file=stream)
    if options["fixes"]:
        _write_fixes(outcome, options["fixes"])
    if outcome.status in ("stored", "unchanged") and outcome.unchanged:
        progress(
            f"{_some_of(outcome.unchanged)} changes nothing: every row in use, finding and month stays as it is."
        )
    if outcome.status == "stored":
        print(f"{answers.ending(outcome)} Snapshot {outcome.snapshot} is live.")
    else:
        progress(answers.ending(outcome))
    if outcome.held and not options["accepts"]:
        progress("\n".join(answers.held_lines(outcome, everything=everything)))
    return EXIT_CODES[outcome.status]


def _some_of(names: list[str]) -> str:
    if len(names) == 1:
        return names[0]
    return f"Each of {', '.join(names[:3])}" + (f" and {len(names) - 3} more" if len(names) > 3 else "")


def _print_findings(outcome: IntakeOutcome, form: str) -> None:
    from pipelines.build.show import FORMATS
    from pipelines.intake.judging import FINDING_COLUMNS

    for text in FORMATS[form](FINDING_COLUMNS, outcome.finding_rows()):
        sys.stdout.write(text)


def _write_fixes(outcome: IntakeOutcome, folder: Path) -> None:
    """One list a trainee, for the person who keeps the log to correct it by."""
    from pipelines.summary.files import plain_cell

    folder.mkdir(parents=True, exist_ok=True)
    by_trainee: dict[str, list[dict[str, Any]]] = {}
    for finding in outcome.fixes():
        plain = {name: plain_cell(finding[name]) for name in FIX_COLUMNS}
        by_trainee.setdefault(finding["trainee_ref"] or "no-trainee", []).append(plain)
    for trainee_ref, rows in by_trainee.items():
        with (folder / f"{trainee_ref}-fixes.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, FIX_COLUMNS, lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)


# ---- the store and what it says


@cli.command(help="rebuild and audit the snapshot")
@STORE
def build(root: Path) -> int:
    from pipelines.build.build import build_and_publish, next_manifest

    store = Store(root)
    with writing(store):
        _ = store.access, store.specialty
        store.check_intakes()
        manifest = next_manifest(store, store.current().live, datetime.date.today())
        build_and_publish(store, manifest)
    _warn_of_another_edition(store)
    print(f"Snapshot {manifest.snapshot} is live.")
    return 0


@cli.command(help="simulate how often each reason to discuss somebody arises for nobody's fault; publish it")
@STORE
def calibrate(root: Path) -> int:
    from pipelines.cli.calibrate import run

    print(f"Snapshot {run(root, progress)} is live.")
    return 0


@cli.command(help="make the rows live again that were before the last intake; a second undo takes that back")
@STORE
def undo(root: Path) -> int:
    from pipelines.build.undo import undo as undo_last

    done = undo_last(Store(root), datetime.date.today())
    print(f"Snapshot {done.snapshot} is live: {done.sentence}.")
    return 0


def _warn_of_another_edition(store: Store) -> None:
    from pipelines.specialty.load import shipped_specialties, specialty_text

    name = store.specialty.specialty
    if name in shipped_specialties() and specialty_text(name) != store.specialty_file.read_bytes():
        progress(
            f"The store's specialty file is not the one that this version ships for {name}. If nobody changed it"
            f" here, take the newer edition: python3 run.py init --specialty {name} --store {store.root}"
        )


class _Show(department.Recorded):
    """Its help ends with the views that there are."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        from pipelines.build.show import questions

        super().format_epilog(ctx, formatter)
        with formatter.section("Views"):
            formatter.write_dl(list(questions().items()))


@cli.command(help="print a published view", cls=_Show)
@click.argument("view", metavar="VIEW")
@STORE
@click.option("--where", multiple=True, metavar="column=value", help="only these rows")
@FORMAT
def show(view: str, root: Path, where: tuple[str, ...], form: str) -> int:
    from pipelines.build.show import published_rows

    return _print(form, *published_rows(whole(root), view, where))


@cli.command(help="what each intake changed for a trainee")
@STORE
@click.option("--trainee", required=True, metavar="T07")
@FORMAT
def history(root: Path, trainee: str, form: str) -> int:
    from pipelines.store.history import of_trainee

    return _print(form, *of_trainee(whole(root), trainee))


@cli.command(help="the snapshots there are")
@STORE
@FORMAT
def snapshots(root: Path, form: str) -> int:
    from pipelines.store.history import snapshots as rows

    return _print(form, *rows(whole(root)))


@cli.command(help="the accreditation volume summary of a class: xlsx, pdf, csv, json")
@STORE
@click.option("--cohort", required=True, metavar="2027", help="the class")
@click.option("--out", type=PATH, required=True, metavar="DIR", help="where the files go")
@click.option("--snapshot", type=int, metavar="N", help="of an earlier snapshot")
@click.option("--since", type=int, metavar="N", help="say how the counts changed since that snapshot")
@click.option("--through", metavar="YYYY-MM", help="count only cases operated through that month")
@click.option("--labels", type=PATH, metavar="FILE", help="trainee_ref, shown_name; kept outside the store")
@click.option("--final", is_flag=True, help="not a draft: --by answers for the counts")
@click.option("--by", metavar="WHO", help="who answers for final counts")
def summary(root: Path, cohort: str, out: Path, *, final: bool, by: str | None, **options: Any) -> int:
    from pipelines.summary.files import Options, write_summary

    if by is not None and not final:
        raise WrongUsage("--by says who answers for final counts. Give --final too, or leave both out.")
    store, final_by = whole(root), (by or "") if final else None
    of_class = (store.programme.programme_ref, cohort)
    paths, files = write_summary(store, *of_class, out, Options(**options, final_by=final_by))
    for path in paths:
        print(path)
    if files.state.name == "provisional":
        print("\n".join(files.said), file=sys.stderr)
    return 0


@cli.command("open", help="the dashboard of your own store, for you alone, by a link that works once")
@STORE
@click.option(
    "--as", "role", type=click.Choice(["director", "coordinator"]), default="director", help="whose screens"
)
@click.option("--port", type=int, metavar="N", help="without it the first free one from 8501 on")
def open_own(root: Path, role: str, port: int | None) -> int:
    command = ["-m", "dashboard", "--as", role, "--store", str(root)]
    # The dashboard reads what pipelines made, never the other way round: it takes this process over.
    at_port = [] if port is None else ["--port", str(port)]
    return os.execv(sys.executable, [sys.executable, "-P", *command, *at_port])


department.add_to(cli, STORE)
formats.add_to(cli)


def _print(form: str, columns: list[str], rows: list[tuple[object, ...]]) -> int:
    from pipelines.build.show import FORMATS

    for text in FORMATS[form](columns, rows):
        sys.stdout.write(text)
    return 0


@cli.command(help="write example exports of a made-up programme")
@click.option("--out", type=PATH, required=True, metavar="DIR", help="where the files go")
@click.option("--trainees", type=click.IntRange(min=1), metavar="N", help="how many")
@click.option("--cases", type=click.IntRange(min=1), metavar="N", help="the total number of rows")
@click.option("--random-seed", type=int, metavar="N", help="another programme of the same kind")
def seed(out: Path, trainees: int | None, cases: int | None, random_seed: int | None) -> int:
    from seed_data.generate import generate

    refuse_no_folder("--out", out)
    chosen: dict[str, Any] = {} if random_seed is None else {"random_seed": random_seed}
    for path in generate(out, trainees, cases, **chosen):
        print(path)
    return 0
