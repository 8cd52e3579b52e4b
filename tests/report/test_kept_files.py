"""Files are made where what they hold is new, and only there."""

from __future__ import annotations

from pathlib import Path

from polefem.report import KeptFiles, code_of


def made(folder: Path, key: str) -> list[str]:
    """Which of two files a run under a key makes."""
    told: list[str] = []
    kept = KeptFiles(folder)

    def make() -> None:
        for name in ("a.csv", "b.csv"):
            (folder / name).write_text(key, "utf-8")
            told.append(name)

    kept.write((folder / "a.csv", folder / "b.csv"), key, make)
    kept.close()
    return told


def test_what_is_there_is_not_made_again(tmp_path: Path) -> None:
    both = ["a.csv", "b.csv"]
    assert made(tmp_path, "one") == both
    index = (tmp_path / "kept.json").stat().st_mtime_ns
    assert made(tmp_path, "one") == [] and (tmp_path / "kept.json").stat().st_mtime_ns == index
    assert made(tmp_path, "another") == both
    (tmp_path / "b.csv").write_text("changed by hand", "utf-8")
    assert made(tmp_path, "another") == both
    (tmp_path / "a.csv").unlink()
    assert made(tmp_path, "another") == both
    (tmp_path / "kept.json").write_text("{", "utf-8")
    assert made(tmp_path, "another") == both


def test_the_code_that_makes_a_file_is_in_its_key(tmp_path: Path) -> None:
    folders = [tmp_path / name for name in ("one", "same", "other")]
    for folder, text in zip(folders, ("x = 1", "x = 1", "x = 2"), strict=True):
        (folder / "templates").mkdir(parents=True)
        (folder / "templates" / "page.md").write_text(text, "utf-8")
    one, same, other = map(code_of, folders)
    assert one == same != other
