"""Does every part of the rig install from wheels on a 64-bit Raspberry Pi, for Python 3.11 and 3.13?

It asks the package registry, so it is no part of the tests: run ``make arm-wheels``. What has no wheel must
be named in `SERVED_BY_APT`, with the Debian package that serves instead (hardware/bring_up.md).
"""

import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
PYTHONS = ("3.11", "3.13")
# no wheel for these; what Debian calls them
SERVED_BY_APT = {("lgpio", "3.13"): "python3-lgpio"}
PLATFORMS = tuple(f"manylinux_2_{minor}_aarch64" for minor in (17, 28, 31, 34, 36)) + (
    "manylinux2014_aarch64",
)


def environment(python: str) -> dict[str, str]:
    """Markers of a 64-bit Raspberry Pi OS."""
    return {
        "python_version": python,
        "python_full_version": f"{python}.0",
        "sys_platform": "linux",
        "platform_system": "Linux",
        "platform_machine": "aarch64",
        "os_name": "posix",
        "implementation_name": "cpython",
        "platform_python_implementation": "CPython",
        "extra": "",
        "platform_release": "",
        "platform_version": "",
    }


def locked(python: str) -> dict[str, str]:
    """Versions of the lock file that hold on that machine, by name."""
    found = {}
    for line in (ROOT / "requirements.lock").read_text("utf-8").splitlines():
        if re.match(r"[a-zA-Z0-9]", line):
            requirement = Requirement(line.rstrip(" \\"))
            if requirement.marker is None or requirement.marker.evaluate(environment(python)):
                (specifier,) = requirement.specifier
                found[canonicalize_name(requirement.name)] = specifier.version
    return found


def wanted() -> list[str]:
    """What pyproject.toml asks for on a rig."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    return [*project["dependencies"], *project["optional-dependencies"]["rig"]]


def missing(python: str) -> list[str]:
    """Requirements, and what they need in turn, that have no wheel there; as pip says it, one by one."""
    asked = 0
    versions = locked(python)
    without = []
    queue, seen = list(wanted()), set()
    with tempfile.TemporaryDirectory() as folder:
        while queue:
            requirement = Requirement(queue.pop())
            name = canonicalize_name(requirement.name)
            applies = requirement.marker is None or requirement.marker.evaluate(environment(python))
            if name in seen or not applies:
                continue
            seen.add(name)
            asked += 1
            if name not in versions:
                without.append(f"{name} (not in the lock file)")
                continue
            wheel = _download(name, versions[name], python, Path(folder) / name)
            if wheel is None:
                without.append(name)
            else:
                queue += _needs(wheel)
    sys.stdout.write(f"Python {python}: {asked} packages asked for\n")
    return without


def _download(name: str, version: str, python: str, folder: Path) -> Path | None:
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check", "--no-deps"]
    command += [
        "--only-binary",
        ":all:",
        "--python-version",
        python,
        "--implementation",
        "cp",
        "--dest",
        str(folder),
    ]
    for platform in PLATFORMS:
        command += ["--platform", platform]
    done = subprocess.run([*command, f"{name}=={version}"], capture_output=True, text=True)
    return next(folder.glob("*.whl")) if done.returncode == 0 else None


def _needs(wheel: Path) -> list[str]:
    import zipfile
    from email.parser import HeaderParser

    with zipfile.ZipFile(wheel) as archive:
        name = next(each for each in archive.namelist() if each.endswith(".dist-info/METADATA"))
        metadata = HeaderParser().parsestr(archive.read(name).decode("utf-8"))
    return metadata.get_all("Requires-Dist") or []


def main() -> None:
    """Ask for each Python, and say what is missing."""
    bad = False
    for python in PYTHONS:
        for name in missing(python):
            apt = SERVED_BY_APT.get((name, python))
            bad = bad or apt is None
            words = f"no wheel; apt's {apt} serves" if apt else "no wheel, and nothing said to serve instead"
            sys.stdout.write(f"Python {python}, {name}: {words}\n")
    for (name, python), apt in SERVED_BY_APT.items():
        sys.stdout.write(f"Python {python}: {name} comes from apt ({apt})\n")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
