"""Makes the private environment in `.venv` and goes on inside it: the ground of the two commands.

Only the standard library, and only syntax that any Python 3 reads: the first thing to say to an old one is
that it is too old. Every failure that a user can do something about ends in one line and exit status 2.

The environment counts as ready when the stamp in it, which is written last, names the lock's hash. A new one is
made beside the one that is there and then takes its place, so that nothing that works is lost to a set-up that fails.
What only lacks packages gets them where it stands; from the first change on a mark says so, and what is left with its
mark is made anew. Names of files may be in any script, whatever the locale: all is UTF-8.
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
        enter(top, os.path.dirname(os.path.abspath(main_file)))
    except Trouble as trouble:
        sys.stderr.write("coldframe: {}\n".format(trouble))
        sys.exit(FAILED)
    except KeyboardInterrupt:
        sys.stderr.write("\ncoldframe: interrupted; the next start takes it up again\n")
        sys.exit(130)


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
    command = [python_of(home_of(top)), folder] + sys.argv[1:]
    os.environ["PYTHONUTF8"] = "1"
    sys.stdout.flush()
    sys.stderr.flush()
    if os.name == "nt":  # there the replaced process would give the prompt back at once
        import subprocess

        sys.exit(subprocess.call(command))
    try:
        os.execv(command[0], command)
    except OSError as error:
        raise Trouble(
            "{} does not start ({}); remove {} and start again".format(command[0], error.strerror, home_of(top))
        )


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
        with open(stamp_of(top), encoding="utf-8") as file:
            stamp = json.load(file)
        locks = stamp["locks"].items()
        same = stamp["python"] == list(sys.version_info[:2]) and stamp["imports"] == imports_of(top)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return False
    return same and set(wanted.items()) <= set(locks) and os.path.exists(python_of(home_of(top)))


def put_stamp(top, wanted):
    """Says that all is there; in one step, so that half a stamp cannot be read."""
    import json

    stamp = {"locks": wanted, "python": list(sys.version_info[:2]), "imports": imports_of(top)}
    with open(stamp_of(top) + ".new", "w", encoding="utf-8") as file:
        json.dump(stamp, file)
    os.replace(stamp_of(top) + ".new", stamp_of(top))


def imports_of(top):
    """The folder from which the environment imports the program, written in the same way under every locale."""
    return os.fsencode(os.path.join(os.path.realpath(top), "bot")).decode("utf-8", "surrogateescape")


def home_of(top):
    return os.path.join(top, ".venv")


def stamp_of(top):
    return os.path.join(home_of(top), "coldframe-ready.json")


def mark_of(home):
    return os.path.join(home, "coldframe-unfinished")


def python_of(home):
    """The Python of an environment."""
    return os.path.join(scripts_of(home), "python.exe" if os.name == "nt" else "python")


def scripts_of(home):
    return os.path.join(home, "Scripts" if os.name == "nt" else "bin")


# --- making it ----------------------------------------------------------------------------------------------


def build(top, lock, wanted):
    """The packages of the lock and the way to the project, in what is there or in a new environment; then the stamp."""
    home = home_of(top)
    tell("setting up in {}, once".format(home))
    if os.path.islink(home) or os.path.isfile(home):
        raise Trouble("{} is in the way: it must be a folder; move it and start again".format(home))
    if not os.path.exists(home) and os.path.exists(
        home + ".old"
    ):  # an earlier start was killed while it exchanged them
        os.rename(home + ".old", home)
    if usable(home):
        install(top, home, lock, begins=lambda: put_mark(top))
        link(top, home)
        remove(mark_of(home))
    else:
        make_anew(top, lock)
    put_stamp(top, wanted)
    tell("ready")


def make_anew(top, lock):
    """Beside what is there, which goes when the new one is whole."""
    home, beside, before = home_of(top), home_of(top) + ".new", home_of(top) + ".old"
    clear(beside)
    make_environment(beside, top)
    install(top, beside, lock)
    link(top, beside)
    readdress(beside, home)
    clear(before)
    if os.path.exists(home):
        os.rename(home, before)
    os.rename(beside, home)
    clear(before)


def put_mark(top):
    """From now on, until it is removed, the environment is neither what it was nor what it shall be."""
    remove(stamp_of(top))
    with open(mark_of(home_of(top)), "w"):
        pass


def readdress(beside, home):
    """Scripts name the folder of their Python, which will be called otherwise."""
    for name in os.listdir(scripts_of(beside)):
        path = os.path.join(scripts_of(beside), name)
        if os.path.islink(path) or not os.path.isfile(path):
            continue
        with open(path, "rb") as file:
            content = file.read()
        if content.startswith(b"#!") or name.lower().startswith("activate"):
            with open(path, "wb") as file:
                file.write(content.replace(os.fsencode(beside), os.fsencode(home)))


def usable(home):
    """True when an environment is there, was not left half-made, and runs this version of Python."""
    if os.path.exists(mark_of(home)) or not os.path.exists(python_of(home)):
        return False
    code = "import sys, pip; sys.stdout.write('{}.{}'.format(*sys.version_info))"
    try:
        status, words = run([python_of(home), "-I", "-c", code])
    except OSError as error:
        status, words = FAILED, str(error)
    if status:
        tell(explain(words, "the environment that is there does not start, so a new one is made"))
    return status == 0 and words.strip() == "{}.{}".format(*sys.version_info)


def clear(folder):
    """Removes what an earlier start left."""
    import shutil

    if os.path.isdir(folder) and not os.path.islink(folder):
        shutil.rmtree(folder)


def make_environment(home, top):
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
        raise failed(top, words, "the environment could not be made")


def install(top, home, lock, begins=lambda: None):
    """Lets pip fetch and unpack what is missing of the lock's packages, and counts them. `begins` is called before the
    first is changed."""
    path = os.path.join(top, "deploy", lock)
    command = [python_of(home), "-I", "-u", "-m", "pip", "install", "--require-hashes", "--no-deps"]
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
    with open(path, encoding="utf-8") as file:
        progress = Progress(sum(1 for line in file if "==" in line), begins)
    status, words = run(command, progress.read)
    progress.end()
    if status:
        raise failed(top, words, "the packages could not be installed")


def failed(top, words, what):
    """In one line why, and where all that was said about it stands."""
    path = home_of(top) + ".log"
    try:
        with open(path, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write(words)
    except OSError:  # the line alone, then
        return Trouble(explain(words, what))
    return Trouble("{}; pip's own words stand in {}".format(explain(words, what), path))


def link(top, home):
    """Lets the environment import the project where it stands, and puts the command beside its Python."""
    import sysconfig

    packages = sysconfig.get_path("purelib", "venv", {"base": home, "platbase": home})
    # As code in plain ASCII: a path of its own would be read by the locale's encoding, whatever else is set.
    way = "import os, sys; sys.path.append(os.fsdecode({!r}))\n"
    with open(os.path.join(packages, "coldframe.pth"), "w", encoding="ascii") as file:
        file.write(way.format(os.fsencode(os.path.join(os.path.realpath(top), "bot"))))
    if os.name == "nt":
        with open(os.path.join(scripts_of(home), "coldframe.cmd"), "w") as file:
            file.write('@"%~dp0python.exe" -X utf8 -P -m coldframe %*\n')
        return
    import shlex

    path = os.path.join(scripts_of(home), "coldframe")
    python = shlex.quote(python_of(home_of(os.path.abspath(top))))
    with open(path, "wb") as file:  # by way of sh: a first line with a long path or a blank in it does not start
        file.write(os.fsencode('#!/bin/sh\nexec {} -X utf8 -P -m coldframe "$@"\n'.format(python)))
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

    def __init__(self, total, begins):
        self.total = total
        self.begins = begins
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
            self.begins()
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
        env=dict({name: value for name, value in os.environ.items() if name not in elsewhere}, PYTHONUTF8="1"),
        close_fds=False,  # the lock goes along
        encoding="utf-8",
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
