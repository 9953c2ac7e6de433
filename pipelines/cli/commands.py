"""The commands. stdout carries the answer alone; progress and hints go to stderr; nothing prompts."""

from __future__ import annotations

import argparse
import io
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from pipelines.contract.errors import UserError, WrongUsage

# Opening a database must not look for extensions on a network, and checking a file must not report itself.
os.environ.setdefault("GX_ANALYTICS_ENABLED", "false")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper) and stream.encoding.lower() != "utf-8":
            stream.reconfigure(encoding="utf-8")
    arguments = parser().parse_args(argv)
    try:
        code = int(arguments.run(arguments))
        # Here, where a reader that has gone is no error; at the end of the process it would be one.
        sys.stdout.flush()
    except UserError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    except BrokenPipeError:
        # Whoever reads the answer has heard enough.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        print("Stopped; what was live is as it was.", file=sys.stderr)
        return 1
    except Exception as error:
        print(one_line(error), file=sys.stderr)
        if os.environ.get("COHORT_TRACEBACK"):
            raise
        return 1
    return code


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


def parser() -> argparse.ArgumentParser:
    """Every command with its options."""
    whole = argparse.ArgumentParser(
        prog="python3 run.py", description="Where each trainee of a cohort stands."
    )
    commands = whole.add_subparsers(required=True, metavar="COMMAND")
    for add in (
        _add_demo,
        _add_init,
        _add_check,
        _add_intake,
        _add_build,
        _add_show,
        _add_history,
        _add_summary,
        _add_serve,
        _add_seed,
    ):
        add(commands)
    commands.add_parser("test", help="pass the tests (run.py does this itself)")
    return whole


Commands = argparse._SubParsersAction  # noqa: SLF001 - argparse has no public name for it


def _add_store(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--store",
        type=Path,
        metavar="DIR",
        default=Path(os.environ.get("COHORT_STORE") or "store"),
        help="the folder of the programme's data; without it COHORT_STORE, else ./store",
    )


def _add_format(command: argparse.ArgumentParser) -> None:
    command.add_argument("--format", choices=("table", "csv", "json"), default="table", help="of the answer")


def _add_demo(commands: Commands[argparse.ArgumentParser]) -> None:
    command = commands.add_parser("demo", help="a made-up programme: print its cohort, open its dashboard")
    command.add_argument("--no-serve", action="store_true", help="end after the table")
    command.set_defaults(run=_demo)


def _add_init(commands: Commands[argparse.ArgumentParser]) -> None:
    command = commands.add_parser("init", help="make an empty store")
    _add_store(command)
    command.add_argument("--specialty", required=True, metavar="NAME-or-FILE", help="the rules to count by")
    command.add_argument("--programme", required=True, metavar="NAME", help="its title")
    command.set_defaults(run=_init)


def _add_check(commands: Commands[argparse.ArgumentParser]) -> None:
    command = commands.add_parser("check", help="validate exports, or a specialty file; store nothing")
    command.add_argument("files", nargs="*", type=Path, metavar="FILE")
    _add_store(command)
    command.add_argument(
        "--specialty",
        metavar="NAME-or-FILE",
        help="judge by it and read no store; alone, check it and say each of its rules",
    )
    _add_taking(command)
    _add_format(command)
    command.set_defaults(run=_check)


def _add_taking(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--source", default="main", metavar="NAME", help="which log it is from, if there are several"
    )
    command.add_argument("--through", metavar="YYYY-MM", help="the data are complete through that month")
    command.add_argument(
        "--append", action="store_true", help="add to what is live; else an export replaces the one before"
    )
    command.add_argument(
        "--accept-withdrawals",
        action="store_true",
        help="let vanish what would be held; with --by and --reason",
    )
    command.add_argument("--by", metavar="WHO", help="who accepts it; stands in the receipt")
    command.add_argument("--reason", metavar="TEXT", help="why; stands in the receipt")
    command.add_argument("--fixes", type=Path, metavar="DIR", help="write a fix list a trainee there")


def _add_intake(commands: Commands[argparse.ArgumentParser]) -> None:
    command = commands.add_parser("intake", help="validate exports, store them, publish a new snapshot")
    command.add_argument("files", nargs="+", type=Path, metavar="FILE")
    _add_store(command)
    _add_taking(command)
    command.add_argument("--strict", action="store_true", help="store nothing if a row is left out")
    command.set_defaults(run=_intake)


def _add_build(commands: Commands[argparse.ArgumentParser]) -> None:
    command = commands.add_parser("build", help="rebuild and audit the snapshot")
    _add_store(command)
    command.set_defaults(run=_build)


def _add_show(commands: Commands[argparse.ArgumentParser]) -> None:
    command = commands.add_parser("show", help="print a published view")
    command.add_argument(
        "view", metavar="VIEW", help="case_volume, complication_rate, … (the Methods screen lists them)"
    )
    _add_store(command)
    command.add_argument(
        "--where", action="append", default=[], metavar="column=value", help="only these rows"
    )
    _add_format(command)
    command.set_defaults(run=_show)


def _add_serve(commands: Commands[argparse.ArgumentParser]) -> None:
    command = commands.add_parser("serve", help="the dashboard with sign-in; refuses until sign-in exists")
    _add_store(command)
    command.set_defaults(run=_serve)


def _add_history(commands: Commands[argparse.ArgumentParser]) -> None:
    command = commands.add_parser("history", help="what each intake changed for a trainee")
    _add_store(command)
    command.add_argument("--trainee", required=True, metavar="T07")
    _add_format(command)
    command.set_defaults(run=_history)
    command = commands.add_parser("snapshots", help="the snapshots there are")
    _add_store(command)
    _add_format(command)
    command.set_defaults(run=_snapshots)


def _add_summary(commands: Commands[argparse.ArgumentParser]) -> None:
    command = commands.add_parser(
        "summary", help="the accreditation volume summary of a class: xlsx, csv, json"
    )
    _add_store(command)
    command.add_argument("--cohort", required=True, metavar="2027", help="the class")
    command.add_argument("--out", type=Path, required=True, metavar="DIR", help="where the files go")
    command.add_argument("--snapshot", type=int, metavar="N", help="of an earlier snapshot")
    command.add_argument(
        "--since", type=int, metavar="N", help="say how the counts changed since that snapshot"
    )
    command.add_argument("--through", metavar="YYYY-MM", help="count only cases operated through that month")
    command.add_argument(
        "--labels", type=Path, metavar="FILE", help="trainee_ref, shown_name; kept outside the store"
    )
    command.set_defaults(run=_summary)


def _at_least_one(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError("a whole number from 1 on")
    return int(text)


def _add_seed(commands: Commands[argparse.ArgumentParser]) -> None:
    command = commands.add_parser("seed", help="write example exports of a made-up programme")
    command.add_argument("--out", type=Path, required=True, metavar="DIR", help="where the files go")
    command.add_argument("--trainees", type=_at_least_one, help="how many")
    command.add_argument("--cases", type=_at_least_one, help="the total number of rows")
    command.add_argument("--random-seed", type=int, help="another programme of the same kind")
    command.set_defaults(run=_seed)


# Each command imports what it needs: `show` must not wait for the libraries that check files.


def _demo(arguments: argparse.Namespace) -> int:
    from pipelines.cli import demo

    return demo.run(serve=not arguments.no_serve)


def _init(arguments: argparse.Namespace) -> int:
    from pipelines.intake import taking

    return taking.init(arguments.store, arguments.specialty, arguments.programme)


def _check(arguments: argparse.Namespace) -> int:
    from pipelines.intake import taking

    return taking.check(arguments)


def _intake(arguments: argparse.Namespace) -> int:
    from pipelines.intake import taking

    return taking.intake(arguments)


def _build(arguments: argparse.Namespace) -> int:
    from pipelines.intake import taking

    return taking.build(arguments.store)


def _show(arguments: argparse.Namespace) -> int:
    from pipelines.build.show import published_rows
    from pipelines.store.store import Store

    return _print(arguments, *published_rows(Store(arguments.store), arguments.view, arguments.where))


def _serve(_arguments: argparse.Namespace) -> int:
    raise WrongUsage(
        "serve needs sign-in, and this version has none: a store with people in it is not opened to a browser."
        " The demo shows every screen: python3 run.py demo"
    )


def _history(arguments: argparse.Namespace) -> int:
    from pipelines.store import history
    from pipelines.store.store import Store

    return _print(arguments, *history.of_trainee(Store(arguments.store), arguments.trainee))


def _snapshots(arguments: argparse.Namespace) -> int:
    from pipelines.store import history
    from pipelines.store.store import Store

    return _print(arguments, *history.snapshots(Store(arguments.store)))


def _summary(arguments: argparse.Namespace) -> int:
    from pipelines.store.store import Store
    from pipelines.summary.files import Options, write_summary

    options = Options(arguments.snapshot, arguments.since, arguments.through, arguments.labels)
    store = Store(arguments.store)
    for path in write_summary(store, store.programme.programme_ref, arguments.cohort, arguments.out, options):
        print(path)
    return 0


def _print(arguments: argparse.Namespace, columns: list[str], rows: list[tuple[object, ...]]) -> int:
    from pipelines.build.show import FORMATS

    sys.stdout.write(FORMATS[arguments.format](columns, rows))
    return 0


def _seed(arguments: argparse.Namespace) -> int:
    from pipelines.store.disk import refuse_no_folder
    from seed_data.generate import generate

    refuse_no_folder("--out", arguments.out)
    seed = {} if arguments.random_seed is None else {"random_seed": arguments.random_seed}
    for path in generate(arguments.out, arguments.trainees, arguments.cases, **seed):
        print(path)
    return 0
