"""The sheet for who looks in: one printed page, and nothing on it that has to be looked up."""

import subprocess
from pathlib import Path

import pytest

from afterfill.config_file import load
from cli_room import afterfill, lines_of, write_config


def made(folder: Path, *arguments: str) -> str:
    out = folder / "sheet.html"
    result = afterfill("report", "--sheet", "--out", str(out), *arguments)
    assert result.exit_code == 0, result.stderr
    return out.read_text()


@pytest.fixture
def bare(tmp_path: Path) -> tuple[str, str]:
    return "--config", str(write_config(tmp_path))


def test_it_names_a_dose_for_all_of_the_tank(tmp_path: Path, bare: tuple[str, str]) -> None:
    """1 mg/L in 120 L is 120 mg; by hand 120 / 40 = 3 mL of 40 mg/mL."""
    page = made(tmp_path, *bare)
    assert "3 mL of neutraliser &#x27;bottle&#x27;, once" in page
    assert "limits 18 to 30 °C" in page
    assert "no reading in the last week" in page
    for caution in ("vet", "mix chemicals", "mains", "drinking water", "valve"):
        assert caution in page


def test_without_a_known_strength_the_label_counts(tmp_path: Path) -> None:
    path = write_config(tmp_path)
    text = path.read_text().replace("[neutraliser.bottle]\nmg_cl2_per_ml = 40\n", "")
    path.write_text(text)
    assert load(path).neutraliser == {}
    assert "once, as its label says" in made(tmp_path, "--config", str(path))


def test_figures_are_in_the_keepers_units(tmp_path: Path) -> None:
    path = write_config(tmp_path)
    path.write_text('units = { volume = "US gal", temperature = "F" }\n' + path.read_text())
    page = made(tmp_path, "--config", str(path))
    assert "limits 64.4 to 86.0 °F (18 to 30 °C)" in page
    assert "31.7 US gal (120 L)" in page


def test_it_shows_what_the_tank_showed_last_week(
    tmp_path: Path, bare: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from afterfill.journal.store import Journal
    from afterfill.records import Reading
    from sample_records import store

    now_s = 1_800_000_000.0
    monkeypatch.setattr("afterfill.cli.report.present_s", lambda: now_s)
    hours = [Reading(now_s - 3600.0 * n + 5.0, "window", "ph", 7.0 + n / 1000) for n in range(200)]
    with Journal.open(tmp_path / "afterfill.db") as journal:
        store(journal, *reversed(hours))
    assert "pH: in the last week 7.0 to 7.2" in made(tmp_path, *bare)


def test_it_prints_on_one_page(tmp_path: Path, bare: tuple[str, str]) -> None:
    made(tmp_path, *bare)
    pdf = tmp_path / "sheet.pdf"
    subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", f"--print-to-pdf={pdf}",
         str(tmp_path / "sheet.html")], check=True, capture_output=True, timeout=60,
    )  # fmt: skip
    assert pdf.read_bytes().count(b"/Type /Page\n") == 1


def test_it_is_about_no_refill(tmp_path: Path, bare: tuple[str, str]) -> None:
    refused = afterfill("report", "--sheet", "--refill", "last", *bare)
    assert refused.exit_code == 2
    assert "leave the other options out" in refused.stderr
    told = lines_of(afterfill("report", "--sheet", "--out", str(tmp_path / "s"), "--json", *bare))
    assert told == [{"kind": "sheet", "tank": "window", "file": str(tmp_path / "s")}]
