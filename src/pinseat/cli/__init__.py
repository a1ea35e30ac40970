"""The command line: parse, call, show. Everything it can do, the Python calls can do too."""

from __future__ import annotations

import io
import os
import sys

from pinseat.errors import PinseatError

REFUSED = 2
STOPPED = 130


def main() -> None:
    """Run the command line; one line and an exit code for whatever goes wrong.

    Exit codes: 0 done, 2 refused (the line on standard error says why and what to do), 130 stopped by the
    person. A bridge that will bind is a result, not an error: exit code 0.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    from cyclopts import CycloptsError

    try:
        from pinseat.cli.app import app

        app(exit_on_error=False, print_error=False)
    except CycloptsError as error:
        said = str(error).split(" Available commands:")[0].rstrip(".")
        _last_words(f"{said}; see pinseat --help", REFUSED)
    except PinseatError as error:
        _last_words(str(error), REFUSED)
    except KeyboardInterrupt:
        _last_words("stopped; nothing half-written was left behind", STOPPED)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(STOPPED)
    except OSError as error:
        _last_words(f"{error.filename or 'the system'}: {error.strerror or error}", REFUSED)


def _last_words(text: str, code: int) -> None:
    print(f"pinseat: {' '.join(text.split())}", file=sys.stderr)
    sys.exit(code)
