"""A process that has imported all of the program and forks for each command it is asked to run.

Starting Python and its libraries takes most of a short command's time. Each fork runs the script
that was installed, with its own words, folder, environment, input and output.

    python prepared.py SCRIPT SOCKET

Over the socket, a request is JSON with three open files: input, output, errors. The answers are
the number of the process, then how it ended, as os.waitstatus_to_exitcode has it.
"""

import atexit
import contextlib
import gc
import importlib
import json
import os
import pkgutil
import runpy
import socket
import sys
import traceback

LATER = ("rich.console", "rich.table", "ezdxf.document", "shapely.ops", "multiprocessing.spawn",
         "concurrent.futures.process", "email.message", "tomllib", "typer.rich_utils")  # fmt: skip
"""What the program's functions import of others' when they are called."""


def imported():
    """All of the program, but nothing called."""
    import blankcam

    for each in pkgutil.walk_packages(blankcam.__path__, "blankcam."):
        if not each.name.endswith("__main__"):
            importlib.import_module(each.name)
    for name in LATER:
        importlib.import_module(name)
    gc.freeze()


def become(script, asked, files):
    """Go on as the command that was asked for, to its end; never returns.

    What stands at the end of a program is done, but nothing is taken apart: that takes as long
    as a short command does.
    """
    for number, file in enumerate(files):
        os.dup2(file, number)
        os.close(file)
    os.chdir(asked["cwd"])
    os.environ.clear()
    os.environ.update(asked["environment"])
    sys.stdin = open(0, closefd=False)  # noqa: SIM115 - for as long as the process lives
    sys.stdout = open(1, "w", closefd=False)  # noqa: SIM115
    sys.stderr = open(2, "w", closefd=False, errors="backslashreplace")  # noqa: SIM115
    sys.argv = [script, *asked["words"]]
    code = 0
    try:
        runpy.run_path(script, run_name="__main__")
    except SystemExit as left:
        code = left.code or 0
    except BaseException:  # noqa: BLE001 - told as Python would
        traceback.print_exc()
        code = 1
    atexit._run_exitfuncs()
    with contextlib.suppress(OSError):
        sys.stdout.flush()
    os._exit(code)


def serve(script, asks):
    """Fork for each request until nobody asks any more."""
    while True:
        said, files, _, _ = socket.recv_fds(asks, 1 << 20, 3)
        if not said:
            return None
        if not (process := os.fork()):
            asks.close()
            return become(script, json.loads(said), files)
        for file in files:
            os.close(file)
        asks.sendall(b"%d\n" % process)
        _, status = os.waitpid(process, 0)
        asks.sendall(b"%d\n" % os.waitstatus_to_exitcode(status))


if __name__ == "__main__":
    asked_by = socket.socket(fileno=int(sys.argv[2]))
    imported()
    asked_by.sendall(b"ready\n")
    serve(sys.argv[1], asked_by)
