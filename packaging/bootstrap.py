#!/usr/bin/env python3
"""Set up Lowrelief and run it, from a bare clone and with the standard library only.

    python3 packaging/bootstrap.py run   opens the window on the sample scans (no screen: the same comparison, to files)
    python3 packaging/bootstrap.py test  lint, types, import contract and all tests; --all adds the long checks

Both make a private environment in .venv, install what pyproject.toml names and, on Debian-like systems, the system
libraries Qt needs. Run again at any time: what is there is kept.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ENVIRONMENT = ROOT / ".venv"
STAMP = ENVIRONMENT / "lowrelief-installed"
WINDOWS = os.name == "nt"
PYTHON = ENVIRONMENT / ("Scripts/python.exe" if WINDOWS else "bin/python")

# Debian's names. libglib2.0-0 became libglib2.0-0t64 with Debian 13; apt resolves the old name.
DRAWING = [
    "libegl1",
    "libgl1",
    "libfontconfig1",
    "libdbus-1-3",
    "libglib2.0-0",
    "libxkbcommon0",
    "fonts-dejavu-core",
]
SCREEN = [
    "libxcb-cursor0", "libxcb-icccm4", "libxcb-image0", "libxcb-keysyms1", "libxcb-randr0", "libxcb-render-util0",
    "libxcb-shape0", "libxcb-xinerama0", "libxcb-xkb1", "libxkbcommon-x11-0",
]  # fmt: skip
PROBE = "from PySide6.QtWidgets import QApplication; QApplication([])"


def main() -> int:
    parser = argparse.ArgumentParser(description="Set up Lowrelief, then run or test it.")
    parser.add_argument("what", choices=["run", "test"])
    parser.add_argument("--all", action="store_true", help="test: also the long checks")
    options = parser.parse_args()
    if sys.version_info < (3, 11):  # noqa: UP036  this very script may be started by an older Python
        stop(f"Lowrelief needs Python 3.11 or newer; this is {sys.version.split()[0]}.")
    make_environment()
    install(testing=options.what == "test")
    return test(everything=options.all) if options.what == "test" else run()


def stop(message: str) -> None:
    print(f"bootstrap: {message}", file=sys.stderr)
    raise SystemExit(1)


def say(message: str) -> None:
    print(f"bootstrap: {message}", file=sys.stderr, flush=True)


# --- the private environment


def make_environment() -> None:
    """A virtual environment with pip in .venv; Debian keeps the pieces for that in a package of its own."""
    if PYTHON.exists() and succeeds([PYTHON, "-m", "pip", "--version"]):
        return
    if not succeeds([sys.executable, "-c", "import venv, ensurepip"]):
        add_packages(["python3-venv"], why="Python cannot make a private environment without it")
    say(f"making a private environment in {ENVIRONMENT.relative_to(ROOT)}")
    if ENVIRONMENT.exists():
        shutil.rmtree(ENVIRONMENT)
    check([sys.executable, "-m", "venv", ENVIRONMENT])


def install(*, testing: bool) -> None:
    """Install the package and what it needs, unless this very pyproject.toml was installed before."""
    wanted = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest() + (" dev" if testing else "")
    have = STAMP.read_text() if STAMP.exists() else ""
    if have in (wanted, f"{wanted} dev"):
        return
    say("installing Lowrelief and what it needs (a few minutes the first time)")
    target = f"{ROOT}[dev]" if testing else str(ROOT)
    check([PYTHON, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--editable", target])
    STAMP.write_text(wanted)


# --- system libraries for Qt


def prepare_qt(platform: str) -> bool:
    """Whether Qt can draw on this platform plugin; adds the missing system libraries where that is allowed."""
    if qt_works(platform):
        return True
    if not sys.platform.startswith("linux"):
        return False
    packages = DRAWING + (SCREEN if platform == "xcb" else [])
    add_packages(packages, why="Qt cannot draw without them")
    return qt_works(platform)


def qt_works(platform: str) -> bool:
    return succeeds([PYTHON, "-c", PROBE], env=os.environ | {"QT_QPA_PLATFORM": platform})


def add_packages(packages: list[str], *, why: str) -> None:
    """Install Debian packages where that is allowed; otherwise say the exact command and stop."""
    command = ["apt-get", "install", "-y", "--no-install-recommends", *packages]
    if shutil.which("apt-get") is None:
        stop(f"{why}. Please install, by the names your system gives them: {' '.join(packages)}")
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        prefix: list[str] = []
    elif shutil.which("sudo") and succeeds(["sudo", "-n", "true"]):
        prefix = ["sudo", "-n"]
    else:
        stop(f"{why}. Please run this once, then start again:\n    sudo {' '.join(command)}")
    say(f"installing system packages: {' '.join(packages)}")
    quiet = {"stdout": subprocess.DEVNULL, "env": os.environ | {"DEBIAN_FRONTEND": "noninteractive"}}
    subprocess.run([*prefix, "apt-get", "update", "-qq"], check=False, **quiet)  # type: ignore[call-overload]
    done = subprocess.run([*prefix, *command, "-qq"], check=False, **quiet)  # type: ignore[call-overload]
    if done.returncode != 0:
        stop(f"{why}, and installing them failed. Please run:\n    sudo {' '.join(command)}")


# --- the two jobs


def run() -> int:
    """The window on the sample scans, or the same comparison headless where there is no screen."""
    samples = ROOT / "sample_data" / "carriers"
    screen = screen_platform()
    if screen is not None and prepare_qt(screen):
        say("opening the window on the sample scans (invented data)")
        return subprocess.call([PYTHON, "-m", "app", str(samples)], cwd=ROOT)
    out = ROOT / "lowrelief-sample-comparison"
    say("no screen here: comparing the sample scans (invented data) headless instead")
    options = ["--out", str(out), "--zero", "lowest", "--title", "Which carrier for 30 nm particles? (invented data)"]
    status = subprocess.call([PYTHON, "-m", "app", "compare", str(samples), *options], cwd=ROOT)
    if status in (0, 3):
        say(f"the comparison sheet is {out / 'sheet.html'}")
        say(f"the figure is          {out / 'figure.png'}")
    return status


def screen_platform() -> str | None:
    """Qt's name for the screen of this machine, None without one."""
    if WINDOWS:
        return "windows"
    if sys.platform == "darwin":
        return "cocoa"
    if os.environ.get("WAYLAND_DISPLAY"):
        return "wayland"
    return "xcb" if os.environ.get("DISPLAY") else None


def test(*, everything: bool) -> int:
    """Lint, types, import contract, tests: the first that fails ends it; pytest's summary is the last line."""
    if not prepare_qt("offscreen"):
        stop("Qt cannot draw off-screen here; the tests need that.")
    env = os.environ | {"QT_QPA_PLATFORM": "offscreen", "OPENBLAS_NUM_THREADS": "1"}
    marked = ["-m", "long or not long"] if everything else []
    steps: list[list[object]] = [
        [PYTHON, "-m", "ruff", "check", "."],
        [PYTHON, "-m", "ruff", "format", "--check", "."],
        [PYTHON, "-m", "mypy"],
        [PYTHON.with_name("lint-imports" + (".exe" if WINDOWS else ""))],
        [PYTHON, "-m", "pytest", "-q", "-n", "auto", "--dist", "loadfile", *marked],
    ]
    for step in steps:
        status = subprocess.call([str(part) for part in step], cwd=ROOT, env=env)
        if status != 0:
            return status
    return 0


def succeeds(command: list[object], env: dict[str, str] | None = None) -> bool:
    words = [str(part) for part in command]
    return subprocess.run(words, check=False, capture_output=True, env=env).returncode == 0


def check(command: list[object]) -> None:
    words = [str(part) for part in command]
    if subprocess.call(words, cwd=ROOT) != 0:
        stop(f"this failed: {' '.join(words)}")


if __name__ == "__main__":
    raise SystemExit(main())
