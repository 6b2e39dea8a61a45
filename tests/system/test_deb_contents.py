"""What a package is looked through for: wheels for both Pythons, native code of its machine."""

import importlib.util
import struct
import subprocess
import sys
import zipfile
from pathlib import Path
from types import ModuleType

import pytest

DEB = Path(__file__).parents[2] / "systemd" / "deb"
# e_machine by the ELF specifications of both machines: EM_X86_64 is 62, EM_AARCH64 183.
X86_64, AARCH64 = 62, 183


def checker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("deb_contents", DEB / "contents.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def wheel(folder: Path, name: str, machine: int | None = None) -> Path:
    path = folder / f"{name}.whl"
    with zipfile.ZipFile(path, "w") as made:
        made.writestr("it/__init__.py", "")
        if machine is not None:
            made.writestr(
                "it/fast.so", b"\x7fELF\x02\x01\x01" + bytes(11) + struct.pack("<H", machine)
            )
    return path


@pytest.mark.parametrize(
    ("names", "found"),
    [
        (["a-1-py3-none-any"], []),
        (["a-1-py2.py3-none-any"], []),
        (["a-1-cp311-cp311-linux", "a-2-cp313-cp313-linux"], []),
        (["a-1-cp39-abi3-linux"], []),
        (["a-1-cp311-cp311-linux"], ["a: no wheel for cp313"]),
        (["a-1-cp313-cp313t-linux", "a-1-cp311-cp311-linux"], ["a: no wheel for cp313"]),
        (["a-1-cp312-abi3-linux"], ["a: no wheel for cp311"]),
        (["a-1-py2-none-any"], ["a: no wheel for cp311", "a: no wheel for cp313"]),
    ],
)
def test_each_python_must_find_a_wheel(tmp_path: Path, names: list[str], found: list[str]) -> None:
    wheels = [wheel(tmp_path, name) for name in names]
    assert list(checker().faults(wheels, "amd64")) == found


def test_native_code_must_be_of_the_packages_machine(tmp_path: Path) -> None:
    made = wheel(tmp_path, "a-1-cp39-abi3-linux", X86_64)
    assert list(checker().faults([made], "amd64")) == []
    assert list(checker().faults([made], "arm64")) == [
        f"{made.name}: it/fast.so is for machine {X86_64}, not for arm64"
    ]
    right = wheel(tmp_path, "a-1-cp39-abi3-linux", AARCH64)
    assert list(checker().faults([right], "arm64")) == []


def test_what_this_machine_runs_is_found_to_be_native_code(tmp_path: Path) -> None:
    # An extension that this very Python has loaded, put into a wheel as it is.
    extension = next(
        Path(module.__file__)
        for name in ("numpy._core._multiarray_umath", "_struct")
        if (module := importlib.import_module(name)).__file__ is not None
    )
    path = tmp_path / "a-1-cp39-abi3-linux.whl"
    with zipfile.ZipFile(path, "w") as made:
        made.write(extension, "it/fast.so")
    here = subprocess.run(["uname", "-m"], check=True, capture_output=True, text=True).stdout
    machine = {"x86_64": X86_64, "aarch64": AARCH64}[here.strip()]
    assert list(checker().native(path)) == [("it/fast.so", machine)]


@pytest.mark.parametrize("script", ["build", "try", "try_root", "postinst", "prerm", "postrm"])
def test_the_scripts_of_the_package_can_be_read_by_their_shell(script: str) -> None:
    shell = "sh" if script in ("postinst", "prerm", "postrm") else "bash"
    subprocess.run([shell, "-n", DEB / script], check=True)


@pytest.mark.parametrize("script", ["postinst", "prerm"])
def test_both_units_are_restarted_and_stopped_by_the_package(script: str) -> None:
    text = (DEB / script).read_text()
    assert "afterfill-page" in text or "afterfill*.service" in text


def test_a_package_of_no_native_code_or_none_at_all_is_refused(tmp_path: Path) -> None:
    root = tmp_path / "root"
    wheels = root / "usr/share/afterfill/wheels"
    wheels.mkdir(parents=True)
    (root / "DEBIAN").mkdir()
    (root / "DEBIAN/control").write_text(
        "Package: it\nVersion: 1\nArchitecture: arm64\nMaintainer: it <it@localhost>\n"
        "Description: it\n"
    )
    package = tmp_path / "it.deb"

    def judged() -> subprocess.CompletedProcess[str]:
        build = ["dpkg-deb", "--build", "-Znone", str(root), str(package)]
        subprocess.run(build, check=True, capture_output=True)
        asked = [sys.executable, str(DEB / "contents.py"), str(package)]
        return subprocess.run(asked, capture_output=True, text=True, check=False)

    assert judged().returncode == 1
    wheel(wheels, "a-1-cp311-cp311-linux", AARCH64)
    assert judged().returncode == 1
    wheel(wheels, "a-1-cp313-cp313-linux", AARCH64)
    sound = judged()
    assert (sound.returncode, sound.stdout) == (
        0,
        "arm64: 2 wheels, 2 parts of native code, faults: 0\n",
    )
    wheel(wheels, "b-1-cp39-abi3-linux", X86_64)
    assert "b-1-cp39-abi3-linux.whl: it/fast.so is for machine 62, not for arm64" in judged().stdout
