#!/usr/bin/env python3
"""Django's command line, which makes its own environment first.

Run by a bare ``python3`` (3.11 or newer), this makes ``.venv`` from ``docker/requirements.lock`` and starts
again inside it; ``python3 manage.py test`` adds ``docker/requirements-test.lock``. Only the standard library
is used up to that point. An environment is trusted only while it carries the hash of the lock file it was
made from, and that is written last: an interrupted install is made anew, never used.

Environment: ``VENV_DIR`` puts the environment elsewhere (default ``.venv`` beside this file). Inside a
virtual environment of your own nothing is installed: ``pip install -r docker/requirements-test.lock`` is up
to you.
"""

import hashlib
import os
import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parent
VENV = pathlib.Path(os.environ.get("VENV_DIR") or ROOT / ".venv").absolute()
PYTHON = VENV / "bin" / "python"
LOCKS = {"run": ROOT / "docker" / "requirements.lock", "test": ROOT / "docker" / "requirements-test.lock"}
OLDEST = (3, 11)


def stop(*lines):
    """End with a plain message, one line for each argument, and exit code 1."""
    sys.exit("\n".join(lines))


def wanted():
    """The lock to install: for ``test`` the tests' lock, which holds everything of the other too."""
    return "test" if sys.argv[1:2] == ["test"] else "run"


def digest(lock):
    try:
        return hashlib.sha256(LOCKS[lock].read_bytes()).hexdigest()
    except OSError as fault:
        stop(f"{LOCKS[lock]}: {fault.strerror}. The checkout is not complete; clone it again.")


def stamp(lock):
    return VENV / f".installed-{lock}"


def is_current(lock):
    """True where the environment was completely made from the lock file as it is now."""
    try:
        return PYTHON.exists() and stamp(lock).read_text() == digest(lock)
    except OSError:
        return False


def run(command):
    """Run quietly. Returns the exit code and what was printed."""
    done = subprocess.run(
        [str(part) for part in command],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
    )
    return done.returncode, done.stdout


def empty_environment():
    """Make ``.venv`` anew and return the command that is its pip."""
    code, said = run([sys.executable, "-m", "venv", "--clear", VENV])
    if code == 0:
        return [PYTHON, "-m", "pip"]
    # Debian and its kin ship python3 without ensurepip; the system's pip can then serve the new environment.
    code, _ = run([sys.executable, "-m", "venv", "--clear", "--without-pip", VENV])
    if code == 0 and run([sys.executable, "-m", "pip", "--python", PYTHON, "--version"])[0] == 0:
        return [sys.executable, "-m", "pip", "--python", PYTHON]
    stop(
        f"Cannot make a virtual environment at {VENV}:",
        *[f"  {line}" for line in said.strip().splitlines()[-4:]],
        "Install your system's venv package (on Debian and Ubuntu: apt-get install python3-venv), or point",
        "VENV_DIR at a folder that can be written, and run the same command again.",
    )


def install(lock):
    """Bring the environment to the lock file, then mark it as complete."""
    if is_current("run") and lock == "test":
        pip = [PYTHON, "-m", "pip"]
        if run([*pip, "--version"])[0] != 0:
            pip = [sys.executable, "-m", "pip", "--python", PYTHON]
        what = "Adding the test tools to"
    else:
        what = "Making the environment"
        pip = None
    print(
        f"{what} {VENV} from {LOCKS[lock].relative_to(ROOT)} (once, under a minute) …",
        file=sys.stderr,
        flush=True,
    )
    before = {name: digest(name) for name in LOCKS}
    pip = pip or empty_environment()
    code, said = run(
        [
            *pip,
            "install",
            "--quiet",
            "--disable-pip-version-check",
            "--no-input",
            "--only-binary=:all:",
            "--require-hashes",
            "--requirement",
            LOCKS[lock],
        ]
    )
    if code != 0:
        stop(
            f"Could not install the pinned packages of {LOCKS[lock].relative_to(ROOT)}; pip said:",
            *[f"  {line}" for line in said.strip().splitlines() if "WARNING" not in line][-6:],
            "Most often the network or the package index cannot be reached (set HTTPS_PROXY for a proxy,",
            "PIP_INDEX_URL for another index), or the disk is full. Fix it and run the same command again;",
            "a partial installation is never used.",
        )
    stamp("run").write_text(before["run"])
    if lock == "test":
        stamp("test").write_text(before["test"])


def enter_environment():
    """Replace this process by the same command inside the environment, which is made first where need be."""
    lock = wanted()
    if not is_current(lock):
        if sys.version_info < OLDEST:
            have = ".".join(map(str, sys.version_info[:3]))
            stop(
                f"Python {OLDEST[0]}.{OLDEST[1]} or newer is needed; {sys.executable} is {have}.",
                "Run the same command with a newer one, for example: python3.11 manage.py "
                + " ".join(sys.argv[1:]),
            )
        import fcntl  # not on every system: imported where it is needed

        try:
            VENV.parent.mkdir(parents=True, exist_ok=True)
            guard = open(VENV.with_name(VENV.name + ".guard"), "w")
        except OSError as fault:
            stop(
                f"Cannot write beside {VENV}: {fault.strerror}.",
                "Point VENV_DIR at a folder that can be written and run the same command again.",
            )
        with guard:  # two commands started at once must not install over each other
            fcntl.flock(guard, fcntl.LOCK_EX)
            if not is_current(lock):
                install(lock)
    os.execv(PYTHON, [str(PYTHON), str(ROOT / "manage.py"), *sys.argv[1:]])


def main():
    if sys.prefix == sys.base_prefix:
        enter_environment()
    elif pathlib.Path(sys.prefix).resolve() == VENV.resolve() and not is_current(wanted()):
        # Ours, but older than the lock file: the interpreter below it makes it anew.
        base = sys._base_executable
        os.execv(base, [base, str(ROOT / "manage.py"), *sys.argv[1:]])
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "training.config.settings")
    try:
        from django.core.management import execute_from_command_line
    except ModuleNotFoundError as fault:
        stop(
            f"The virtual environment {sys.prefix} lacks {fault.name}.",
            "Leave it (deactivate) and run the same command again, or install into it:",
            "python -m pip install -r docker/requirements-test.lock",
        )
    if sys.argv[1:2] == ["test"]:
        # Straight to it: the tests read the settings themselves, and must be able to say what is wrong with
        # them.
        from tests.run import main as run_tests

        sys.exit(run_tests(sys.argv[2:]))
    if sys.argv[1:2] == ["eligibility"]:
        # Straight to it too: it reads a file, and needs neither settings nor a database nor their second.
        from training.management.commands.eligibility import Command as Eligibility

        Eligibility().run_from_argv(sys.argv)
    if sys.argv[1:2] == ["release"]:
        from training.management.commands.release import Command as Release

        Release().run_from_argv(sys.argv)
    if os.environ.get("REDIS_URL"):
        import training.config.celery  # noqa: F401  (a command may ring a worker; costs 0.2 s)
    from django.core.exceptions import ImproperlyConfigured
    from django.db import OperationalError

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as fault:
        if "--traceback" in sys.argv:
            raise
        stop(f"Settings error: {fault}")
    except OperationalError as fault:
        if "--traceback" in sys.argv:
            raise
        stop(
            f"Database error: {str(fault).strip()}",
            "Check DATABASE_URL and the server. To create missing tables: python3 manage.py migrate",
        )


if __name__ == "__main__":
    try:
        main()
    except KeyboardInterrupt:
        sys.exit(130)
