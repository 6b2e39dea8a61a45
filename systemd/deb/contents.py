"""Looks into a package: whether every Python that it is for finds a wheel of each distribution that
another Python finds there, and whether all native code is for the package's machine.

    python3 contents.py PACKAGE.deb

Ends with 1 and a line for each fault. The package's own files are read; nothing is installed.
"""

import struct
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

PYTHONS = ("cp311", "cp313")  # of Debian 12 and 13
# The field e_machine of an ELF header (System V ABI, its supplements for both machines).
MACHINES = {"amd64": 62, "arm64": 183}
_ELF, _MACHINE_AT = b"\x7fELF", 18


def faults(wheels: Sequence[Path], arch: str) -> Iterator[str]:
    """What is wrong with the wheels of a package for `arch`."""
    named = {wheel: _tags(wheel) for wheel in wheels}
    yield from _lacking(named.values())
    for wheel in wheels:
        for part, machine in native(wheel):
            if machine != MACHINES[arch]:
                yield f"{wheel.name}: {part} is for machine {machine}, not for {arch}"


def _tags(wheel: Path) -> tuple[str, str, str]:
    """Distribution, Pythons and ABIs of a wheel by its name (PEP 427)."""
    parts = wheel.name.removesuffix(".whl").split("-")
    return parts[0].lower(), parts[-3], parts[-2]


def _lacking(named: Iterable[tuple[str, str, str]]) -> Iterator[str]:
    found: dict[str, set[str]] = {}
    for name, python, abi in named:
        served = found.setdefault(name, set())
        served.update(one for one in PYTHONS if _serves(python, abi, one))
    for name, served in sorted(found.items()):
        for python in sorted(set(PYTHONS) - served):
            yield f"{name}: no wheel for {python}"


def _serves(python: str, abi: str, asked: str) -> bool:
    if abi == "none":
        return any(one in ("py3", "py2.py3") or one == asked for one in python.split("."))
    older = python.startswith("cp3") and int(python[2:]) <= int(asked[2:])
    return python == abi == asked or (abi == "abi3" and older)


def native(wheel: Path) -> Iterator[tuple[str, int]]:
    """Each part of a wheel that is native code, with its machine."""
    with zipfile.ZipFile(wheel) as opened:
        for part in opened.namelist():
            with opened.open(part) as file:
                head = file.read(_MACHINE_AT + 2)
            if head.startswith(_ELF):
                yield part, struct.unpack_from("<H", head, _MACHINE_AT)[0]


def main(package: str) -> int:
    asked = ["dpkg-deb", "--field", package, "Architecture"]
    arch = subprocess.run(asked, check=True, capture_output=True, text=True).stdout.strip()
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(["dpkg-deb", "--extract", package, folder], check=True)
        wheels = sorted(Path(folder, "usr/share/afterfill/wheels").glob("*.whl"))
        wrong = list(faults(wheels, arch))
        parts = sum(1 for wheel in wheels for _ in native(wheel))
    for fault in wrong:
        print(fault)
    if not parts:
        print("no native code is in it at all")
    print(f"{arch}: {len(wheels)} wheels, {parts} parts of native code, faults: {len(wrong)}")
    return 1 if wrong or not parts else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
