"""Makes the private environment in `.venv` and goes on inside it: the ground of the two commands.

Only the standard library, and only syntax that any Python 3 reads: the first thing to say to an old one is
that it is too old. Every failure that a user can do something about ends in one line and exit status 2.

The environment counts as ready when the stamp in it, which is written last, names the lock's hash. While it
is being made a mark says so; after an interruption the mark is still there, and the next start begins anew.
"""

import contextlib
import os
import re
import sys

LOWEST = (3, 11)
RUNTIME = "requirements.lock"
TESTS = "requirements-tests.lock"  # holds everything of the runtime lock, in the same versions
ROOM_NEEDED = {RUNTIME: 800, TESTS: 1600}  # megabytes, with the downloads
FAILED = 2
SAYABLE = 200  # characters of a foreign message that still make one line


class Trouble(Exception):
    """Something that the user can do something about, in one line."""


def start(main_file, lock):
    """Returns inside the private environment, the top folder importable; never returns outside of it."""
    top = os.path.dirname(os.path.dirname(os.path.abspath(main_file)))
    try:
        check_version(sys.version_info)
        if inside(top):
            open_top(top, main_file)
            return
        make_ready(top, lock)
    except Trouble as trouble:
        sys.stderr.write("coldframe: {}\n".format(trouble))
        sys.exit(FAILED)
    except KeyboardInterrupt:
        sys.stderr.write("\ncoldframe: interrupted; the next start takes it up again\n")
        sys.exit(130)
    enter(top, os.path.dirname(os.path.abspath(main_file)))


def check_version(version):
    """Refuses a Python that is too old."""
    if tuple(version[:2]) < LOWEST:
        raise Trouble(
            "needs Python {}.{} or newer, this is {}.{}; start it with one, as in python3.13 demo".format(
                *(LOWEST + tuple(version[:2]))
            )
        )


def inside(top):
    """True in the private environment's own Python."""
    return os.path.realpath(sys.prefix) == os.path.realpath(os.path.join(top, ".venv"))


def open_top(top, main_file):
    """Puts the top folder where the started one stood, so that nothing in there hides a library's module."""
    here = os.path.dirname(os.path.abspath(main_file))
    sys.path[:] = [top] + [entry for entry in sys.path if os.path.abspath(entry or ".") not in (here, top)]


def enter(top, folder):
    """Replaces this process by the private environment's Python, with the same words after the folder."""
    command = [python_of(top), folder] + sys.argv[1:]
    sys.stdout.flush()
    sys.stderr.flush()
    if os.name == "nt":  # there the replaced process would give the prompt back at once
        import subprocess

        sys.exit(subprocess.call(command))
    os.execv(command[0], command)


def make_ready(top, lock):
    """Makes or completes the environment, unless the stamp says that it is all there."""
    wanted = hashes(top, lock)
    if is_ready(top, wanted):
        return
    with translated(top), alone(top):
        if not is_ready(top, wanted):  # else another start did it while this one waited
            check_room(top, lock)
            build(top, lock, wanted)


# --- the stamp ----------------------------------------------------------------------------------------------


def hashes(top, lock):
    """What the stamp must name: the lock's hash; for the tests' lock also the one that it contains."""
    import hashlib

    found = {}
    for name in {lock, RUNTIME}:
        try:
            with open(os.path.join(top, "deploy", name), "rb") as file:
                found[name] = hashlib.sha256(file.read()).hexdigest()
        except OSError as error:
            raise Trouble("deploy/{} cannot be read ({})".format(name, error.strerror))
    return found


def is_ready(top, wanted):
    """True when the environment was finished for these locks, this version of Python and this folder."""
    import json

    try:
        with open(stamp_of(top)) as file:
            stamp = json.load(file)
        locks = stamp["locks"].items()
        same = stamp["python"] == list(sys.version_info[:2]) and stamp["imports"] == imports_of(top)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return False
    return same and set(wanted.items()) <= set(locks) and os.path.exists(python_of(top))


def put_stamp(top, wanted):
    """Says that all is there; in one step, so that half a stamp cannot be read."""
    import json

    stamp = {"locks": wanted, "python": list(sys.version_info[:2]), "imports": imports_of(top)}
    with open(stamp_of(top) + ".new", "w") as file:
        json.dump(stamp, file)
    os.replace(stamp_of(top) + ".new", stamp_of(top))


def imports_of(top):
    """The folder from which the environment imports the program."""
    return os.path.join(os.path.realpath(top), "bot")


def stamp_of(top):
    return os.path.join(top, ".venv", "coldframe-ready.json")


def mark_of(top):
    return os.path.join(top, ".venv", "coldframe-unfinished")


def python_of(top):
    """The private environment's Python."""
    return os.path.join(scripts_of(top), "python.exe" if os.name == "nt" else "python")


def scripts_of(top):
    return os.path.join(top, ".venv", "Scripts" if os.name == "nt" else "bin")


# --- making it ----------------------------------------------------------------------------------------------


def build(top, lock, wanted):
    """The environment, then the packages of the lock, then the way to the project itself, then the stamp."""
    home = os.path.join(top, ".venv")
    tell("setting up in {}, once".format(home))
    if not usable(top):
        clear(home)
    remove(stamp_of(top))
    os.makedirs(home, exist_ok=True)
    with open(mark_of(top), "w"):
        pass
    if not os.path.exists(python_of(top)):
        make_environment(home)
    install(top, lock)
    link(top)
    remove(mark_of(top))
    put_stamp(top, wanted)
    tell("ready")


def usable(top):
    """True when an environment is there, was not left half-made, and runs this version of Python."""
    if os.path.exists(mark_of(top)) or not os.path.exists(python_of(top)):
        return False
    code = "import sys, pip; sys.stdout.write('{}.{}'.format(*sys.version_info))"
    status, words = run([python_of(top), "-I", "-c", code])
    return status == 0 and words.strip() == "{}.{}".format(*sys.version_info)


def clear(home):
    """Removes what an earlier start left, the mark last: an interruption here does no harm either."""
    import shutil

    if os.path.islink(home) or os.path.isfile(home):
        raise Trouble("{} is in the way: it must be a folder; move it and start again".format(home))
    for name in sorted(os.listdir(home) if os.path.isdir(home) else [], key=os.path.basename(mark_of("")).__eq__):
        path = os.path.join(home, name)
        if os.path.isdir(path) and not os.path.islink(path):
            shutil.rmtree(path)
        else:
            os.remove(path)


def make_environment(home):
    """An empty environment with pip in it."""
    missing = "this Python lacks its module {}; install it (on Debian and Ubuntu: apt install python3-venv)"
    for module in ("venv", "ensurepip"):
        try:
            __import__(module)
        except ImportError:
            raise Trouble(missing.format(module))
    status, words = run([sys.executable, "-I", "-m", "venv", home])
    if status:
        if "ensurepip" in words:
            raise Trouble(missing.format("ensurepip"))
        raise Trouble(explain(words, "the environment could not be made"))


def install(top, lock):
    """Lets pip fetch and unpack what is missing of the lock's packages, and counts them."""
    path = os.path.join(top, "deploy", lock)
    command = [python_of(top), "-I", "-u", "-m", "pip", "install", "--require-hashes", "--no-deps"]
    command += ["--only-binary", ":all:"]  # nothing is built here, so the hashes cover all that runs
    command += [
        "--no-input",
        "--disable-pip-version-check",
        "--progress-bar",
        "off",
        "--retries",
        "2",
        "-r",
        path,
    ]
    with open(path) as file:
        progress = Progress(sum(1 for line in file if "==" in line))
    status, words = run(command, progress.read)
    progress.end()
    if status:
        raise Trouble(explain(words, "the packages could not be installed"))


def link(top):
    """Lets the environment import the project where it stands, and puts the command beside its Python."""
    code = "import sysconfig; print(sysconfig.get_path('purelib'))"
    status, words = run([python_of(top), "-I", "-c", code])
    if status:
        raise Trouble(explain(words, "the environment does not start"))
    with open(os.path.join(words.strip(), "coldframe.pth"), "w") as file:
        file.write(imports_of(top) + "\n")
    if os.name == "nt":
        with open(os.path.join(scripts_of(top), "coldframe.cmd"), "w") as file:
            file.write('@"%~dp0python.exe" -P -m coldframe %*\n')
        return
    import shlex

    path = os.path.join(scripts_of(top), "coldframe")
    with open(path, "w") as file:  # by way of sh: a first line with a long path or a blank in it does not start
        file.write('#!/bin/sh\nexec {} -P -m coldframe "$@"\n'.format(shlex.quote(python_of(os.path.abspath(top)))))
    os.chmod(path, 0o755)


# --- one at a time, with room, and seen ---------------------------------------------------------------------


@contextlib.contextmanager
def alone(top):
    """Lets one start at a time make the environment.

    The lock falls with the processes that hold it: this one and, should this one be killed, its pip as well.
    """
    with open(os.path.join(top, ".venv.lock"), "a+") as file:
        os.set_inheritable(file.fileno(), True)
        if not seize(file, wait=False):
            tell("another start is setting up; waiting for it")
            seize(file, wait=True)
        yield


def seize(file, wait):
    """Takes the lock; False when somebody else has it and `wait` is false."""
    try:
        import fcntl
    except ImportError:
        return seize_on_windows(file, wait)
    try:
        fcntl.flock(file, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except BlockingIOError:
        return False
    return True


def seize_on_windows(file, wait):
    import msvcrt
    import time

    while True:
        file.seek(0)
        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
            return True
        except OSError:
            if not wait:
                return False
            time.sleep(0.5)


def check_room(top, lock):
    """Refuses to begin what the disk cannot hold."""
    import shutil

    free = shutil.disk_usage(top).free // 1000000
    if free < ROOM_NEEDED[lock]:
        full = "the disk is full: {} MB are free under {}, about {} are needed; make room and start again"
        raise Trouble(full.format(free, top, ROOM_NEEDED[lock]))


@contextlib.contextmanager
def translated(top):
    """Turns what the operating system refuses into one line."""
    try:
        yield
    except OSError as error:
        said = "{} {}".format(error.strerror, error.filename or "")
        raise Trouble(explain(said, "cannot set up in " + top))


class Progress:
    """pip's talk as a count: one line that moves on a terminal, a line now and then elsewhere."""

    EVERY = 25

    def __init__(self, total):
        self.total = total
        self.seen = 0
        self.moving = sys.stderr.isatty()

    def read(self, line):
        if line.startswith(("Collecting ", "Processing ")):  # from the registry, or from files at hand
            self.seen += 1
            name = re.split("[-=]", os.path.basename(line.split()[1]))[0]
            self.show("fetching {} of {}: {}".format(self.seen, self.total, name))
        elif line.startswith(("Ignoring ", "Requirement already")):  # for other machines, or there
            self.total -= 1
        elif "Retrying (" in line:
            self.show("the package registry does not answer; trying again", always=True)
        elif line.startswith("Installing collected packages"):
            self.show("unpacking {} packages, about a minute".format(self.seen), always=True)

    def show(self, words, always=False):
        if self.moving:
            sys.stderr.write("\r\033[Kcoldframe: " + words)
            sys.stderr.flush()
        elif always or self.seen % self.EVERY == 1:
            tell(words)

    def end(self):
        if self.moving:
            sys.stderr.write("\n")


def tell(words):
    sys.stderr.write("coldframe: {}\n".format(words))
    sys.stderr.flush()


def remove(path):
    with contextlib.suppress(FileNotFoundError):
        os.remove(path)


def run(command, on_line=None):
    """Runs a command apart from what the user set for pip's targets. Returns (status, everything it said)."""
    import subprocess

    elsewhere = ("PIP_USER", "PIP_TARGET", "PIP_PREFIX", "PIP_ROOT", "PIP_REQUIRE_VIRTUALENV")
    process = subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env={name: value for name, value in os.environ.items() if name not in elsewhere},
        close_fds=False,  # the lock goes along
        universal_newlines=True,
        errors="replace",
    )
    words = []
    try:
        for line in process.stdout:
            words.append(line)
            if on_line:
                on_line(line)
    except BaseException:
        process.kill()
        raise
    finally:
        process.stdout.close()
        status = process.wait()
    return status, "".join(words)


SIGNS = (
    (r"No space left|Errno 28\b|Disk quota|Errno 122\b", "the disk is full; make room and start again"),
    (
        r"Read-only file system|Permission denied|Operation not permitted|Errno 13\b|Errno 30\b",
        "the folder cannot be written; start from a folder of your own",
    ),
    (
        r"DO NOT MATCH THE HASHES",
        "a package is not the one that the lock names; nothing was installed",
    ),
    (
        r"Retrying \(|Failed to establish|Connection ?(Error|refused|reset|broken|aborted)|[Tt]imed? ?out"
        r"|name resolution|[Nn]etwork is unreachable|ProxyError|SSLError|CERTIFICATE|Max retries",
        "the package registry cannot be reached; connect, or point pip at one in reach, and start again",
    ),
    (
        r"No matching distribution|Could not find a version",
        "a package of the lock is not to be had where pip looks, or not for this machine",
    ),
)


def explain(words, what):
    """One line out of many: what failed, what it means, and the most telling line itself."""
    lines = [line.strip() for line in words.splitlines() if line.strip()]
    for pattern, meaning in SIGNS:
        telling = [line for line in lines if re.search(pattern, line)]
        if telling:
            return "{}: {} ({})".format(what, meaning, shortened(telling[-1]))
    errors = [line for line in lines if "error" in line.lower()] or lines or ["no word about why"]
    return "{}: {}".format(what, shortened(errors[-1]))


def shortened(line):
    """The system's own error, when the line holds one; else the line, cut."""
    own = re.search(r"\[Errno -?\d+\] [^'\")]+", line)
    line = own.group() if own else line
    return line if len(line) <= SAYABLE else line[:SAYABLE] + "…"
