"""The command line as a person meets it: what is printed, written and returned. Fields are made up here."""

from __future__ import annotations

import csv
import json
import os
import re
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from polefem.command_line import main

sys.path.insert(0, str(Path(__file__).parent / "study"))
from fake_solver import DIES, FAKE, MACHINE, PLAN, UNMESHED

from polefem.study import Study, Variant
from polefem.units import deg
from polefem.version import __version__

FINE = Variant("wide", {"rotor_pole.arc": 40 * deg})
TOUCHING = Variant("touching", {"rotor_pole.arc": 95 * deg})


def study(*variants: Variant) -> Study:
    return Study("made up", MACHINE, PLAN, variants)


@pytest.fixture(autouse=True)
def apart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Results go where the test can see them."""
    monkeypatch.chdir(tmp_path)
    yield


def test_the_ranking_is_printed_and_everything_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status = main(study(Variant("plain"), FINE, TOUCHING), ["--workers", "2", "--out", "there"], FAKE)
    out, err = capsys.readouterr()
    assert status == 0
    assert "Ranked by ripple, at equal current of 10 A" in out
    assert (
        out.index("1  ")
        < out.index("2  ")
        < out.index("touching could not be built: pole faces must not touch at the gap")
    )
    assert "(max - min) / |mean|" in out
    assert "made up: 3 of 3 designs, 1 refused, 0 failed" in err
    there = tmp_path / "there"
    assert (there / "ranking.txt").read_text() in out
    rows = list(csv.DictReader((there / "ranking.csv").read_text().splitlines()))
    assert [row["status"] for row in rows] == ["solved", "solved", "refused"]
    assert float(rows[0]["ripple"]) <= float(rows[1]["ripple"])
    written = json.loads((there / "records.json").read_text())
    assert {record["name"] for record in written["records"]} == {"plain", "wide", "touching"}
    assert all((there / r["map"]).is_file() for r in written["records"] if r["status"] == "solved")
    pictures = {path.name for path in (there / "pictures").iterdir()}
    curves = ("torque", "inductance", "flux-linkage", "torque-of-phases", "spectrum", "section")
    places = ("aligned", "half-overlap", "unaligned")
    kinds = {f"{k}.svg" for k in curves} | {f"flux-density-{p}.png" for p in places}
    whole = {"torque-of-designs.svg", "outlines.svg", "bars.svg", "pareto.svg"}
    cut = {f"{rows[0]['name']}-{k}.svg" for k in ("to-cut-1", "to-cut-2", "to-cut-3", "joints", "slot")}
    assert pictures == {f"{n}-{k}" for n in ("plain", "wide") for k in kinds} | whole | cut
    sheets = ("sheets.pdf", "to-cut.svg", "poles.svg", "to-wind.svg", "to-join.svg")
    assert {p.name for p in (there / "sheets").iterdir()} == {
        f"{n}-{k}" for n in ("plain", "wide") for k in sheets
    }


def test_results_go_to_stdout_and_what_is_said_of_them_to_stderr(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(study(FINE, TOUCHING), ["--workers", "1", "--no-pictures"], FAKE) == 0
    out, err = capsys.readouterr()
    assert out.startswith("Ranked by ripple") and "Written to" not in out
    assert "Written to results/made_up: ranking.txt" in err and "Ranked" not in err


def test_the_version_and_the_help_are_results(capsys: pytest.CaptureFixture[str]) -> None:
    for asked, said in (("--version", f"polefem {__version__}"), ("--help", "examples:")):
        with pytest.raises(SystemExit, match="0"):
            main(None, [asked])
        assert said in capsys.readouterr().out
    with pytest.raises(SystemExit, match="0"):
        main(None, ["animate", "--help"])
    shown = " ".join(capsys.readouterr().out.split())
    assert "Write a film of one shape" in shown and "exit status: 0 every design" in shown
    with pytest.raises(SystemExit, match="2"):
        main(None, [])
    assert "COMMAND" in capsys.readouterr().err


WHOLE = """
    import sys
    sys.path[:0] = {path!r}
    from fake_solver import MACHINE, PLAN
    from polefem.study import Study, Variant
    from polefem.units import deg
    study = Study("made up", MACHINE, PLAN, [Variant("plain"), Variant("wide", {{"rotor_pole.arc": 40 * deg}})])
"""


@pytest.fixture
def computed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """A study file whose designs are in the store already; the options that find them."""
    (tmp_path / "mine.py").write_text(
        textwrap.dedent(WHOLE.format(path=[str(Path(__file__).parent / "study")]))
    )
    options = ["--workers", "1", "--mesh", "coarse", "--out", "there"]
    assert main(study(Variant("plain"), FINE), [*options, "--no-pictures"], FAKE) == 0
    capsys.readouterr()
    return ["mine.py", *options]


def test_a_report_is_written_of_what_is_there_and_its_place_printed(
    computed: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(None, ["report", *computed, "--drawn", "1"]) == 0
    out, err = capsys.readouterr()
    assert out.split() == ["there/report.html", "there/report.md"]
    assert "2 from the store" in err
    page = (tmp_path / "there" / "report.html").read_text("utf-8")
    assert "python -m polefem report mine.py --workers 1 --mesh coarse --out there --drawn 1" in page
    assert "1 more shapes have figures" in page
    assert page.count('alt="Flux density') == 3  # of the first alone


def test_a_film_is_written_and_its_place_printed(
    computed: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(None, ["animate", *computed, "--shape", "wide", "--frames", "3"]) == 0
    assert capsys.readouterr().out.split() == ["there/wide.gif"]
    assert (tmp_path / "there" / "wide.gif").read_bytes().startswith(b"GIF89a")


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (
            ["--shape", "round"],
            "a film is of a shape of the study: shape is 'round', allowed is plain, wide",
        ),
        (["--frames", "1"], "a film needs frames"),
        (["--frames", "2", "--film", "a.avi"], "a film has an ending that can be written"),
    ],
)
def test_mistakes_about_a_film_are_told(
    options: list[str], sentence: str, computed: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(None, ["animate", *computed, *options]) == 2
    assert sentence in capsys.readouterr().err


def told_in_a_sentence(err: str) -> bool:
    """Whether an error is told without what led to it."""
    return "Traceback" not in err and err.startswith("polefem: ")


@pytest.mark.parametrize(
    ("text", "status", "sentence"),
    [
        (
            "\n\n1 / 0",
            2,
            "a study file must run: mine.py, line 3, '1 / 0', stops with ZeroDivisionError: division by zero",
        ),
        (
            "study = (",
            2,
            "a study file must run: mine.py, line 1, is no Python: '(' was never closed",
        ),
        (
            "from fake_solver import MACHINE, PLAN\nfrom polefem.study import Study, Variant\n"
            "study = Study('s', MACHINE, PLAN, [Variant('v')], linked={'air_gap': lambda v: 1 / 0})",
            1,
            "not foreseen: ZeroDivisionError: division by zero (mine.py, line 3); --debug shows what led to it",
        ),
    ],
)
def test_an_error_is_a_sentence_and_with_debug_what_led_to_it(
    text: str, status: int, sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "mine.py").write_text(text)
    assert main(None, ["run", "mine.py"]) == status
    err = capsys.readouterr().err
    assert sentence in err and told_in_a_sentence(err)
    assert main(None, ["run", "mine.py", "--debug"]) == status
    err = capsys.readouterr().err
    assert sentence in err and not told_in_a_sentence(err)


def test_it_goes_on_from_what_is_there(capsys: pytest.CaptureFixture[str]) -> None:
    options = ["--workers", "1", "--no-pictures"]
    assert main(study(Variant("plain")), options, FAKE) == 0
    assert main(study(Variant("plain"), FINE), options, FAKE) == 0
    assert "1 from the store" in capsys.readouterr().err


@pytest.mark.parametrize(
    "broken", [Variant("u", {"rotor_pole.arc": UNMESHED}), Variant("d", {"rotor_pole.arc": DIES})]
)
def test_a_failure_shows_in_the_status_and_the_others_finish(
    broken: Variant, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(study(broken, FINE), ["--workers", "1", "--no-pictures"], FAKE) == 1
    out = capsys.readouterr().out
    assert "1  wide" in out
    assert re.search(rf"^{broken.name} (could not be computed|was not finished): ", out, re.MULTILINE)


def test_nothing_to_rank_is_no_success() -> None:
    assert main(study(TOUCHING), ["--workers", "1", "--no-pictures"], FAKE) == 1


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (["--workers", "0"], "a pool must have workers"),
        (
            ["--rank-by", "beauty"],
            "designs are ranked by a figure: rank_by is 'beauty', allowed is current, .*ripple",
        ),
        (["--patience", "-1"], "a worker needs time"),
        (
            ["--drawn", "-1"],
            "shapes to be shown are counted: drawn is -1, allowed is a whole number of 0 or more",
        ),
    ],
)
def test_mistakes_in_options_are_told(
    options: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(study(FINE), options, FAKE) == 2
    with pytest.raises(ValueError, match=sentence):
        raise ValueError(capsys.readouterr().err)


def test_where_nothing_can_be_kept_it_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("in the way")
    for out in ("file", "file/there"):
        assert main(study(FINE), ["--workers", "1", "--out", out], FAKE) == 2
        sentence = "results go into a folder: folder is 'file', a file, allowed is a folder"
        assert sentence in capsys.readouterr().err


def test_unknown_options_are_refused() -> None:
    with pytest.raises(SystemExit, match="2"):
        main(study(FINE), ["--mesh", "smooth"], FAKE)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (None, "a study is a file: FILE is 'mine.py', allowed is a Python file that is there"),
        ("x = 1", "a study file defines a study: study is missing"),
        ("study = 3", "a study file defines a study: study is int"),
        ("1 / 0", "a study file must run: mine.py, line 1, '1 / 0', stops with ZeroDivisionError"),
        ("from polefem import Pole\nPole(arc=4.0)", "a pole face must be narrower than half a turn"),
    ],
)
def test_mistakes_in_study_files_are_told(
    text: str | None, sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    if text is not None:
        (tmp_path / "mine.py").write_text(text)
    assert main(None, ["run", "mine.py"]) == 2
    assert sentence in capsys.readouterr().err


FILE = """
    import sys
    sys.path[:0] = {path!r}
    from fake_solver import FAKE, MACHINE, PLAN
    from polefem import main
    from polefem.study import Study, Variant
    from polefem.units import deg
    study = Study("mine", MACHINE, PLAN, [Variant(f"v{{k}}", {{"rotor_pole.arc": k * deg}}) for k in range(32, 44)])
    if __name__ == "__main__":
        raise SystemExit(main(study, solver=FAKE))
"""


def started(tmp_path: Path, seconds: float) -> subprocess.Popen[str]:
    path = [str(Path(__file__).parent / "study"), *sys.path]
    (tmp_path / "mine.py").write_text(textwrap.dedent(FILE.format(path=path)))
    command = [sys.executable, "mine.py", "--workers", "2", "--no-pictures", "--out", "there"]
    environment = {
        **os.environ,
        "FAKE_SOLVER_SECONDS": str(seconds),
        "FAKE_SOLVER_LOG": str(tmp_path / "log"),
    }
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, "start_new_session": True}
    return subprocess.Popen(command, env=environment, **pipes)


def test_a_reader_that_has_seen_enough_stops_no_work(tmp_path: Path) -> None:
    process = started(tmp_path, 0.0)
    assert process.stdout is not None and process.stderr is not None
    process.stdout.close()  # as `| head` does
    err = process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=60) == 0, err
    assert "Broken pipe" not in err and "BrokenPipe" not in err and "Traceback" not in err
    assert "v43" in (tmp_path / "there" / "ranking.csv").read_text()


def test_interrupted_it_says_how_to_go_on_and_goes_on(tmp_path: Path) -> None:
    process = started(tmp_path, 1.0)
    log = tmp_path / "log"
    while process.poll() is None and (not log.exists() or len(log.read_text().split()) < 4):
        time.sleep(0.02)
    os.killpg(process.pid, signal.SIGINT)  # as the terminal does: to every process of the command
    out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "Stopped. What was computed is kept in there; the same command goes on from there." in err
    assert "Traceback" not in err
    process = started(tmp_path, 0.0)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 0, err
    assert "from the store" in err and "v43" in out
    assert len(log.read_text().split()) <= 12 + 4
