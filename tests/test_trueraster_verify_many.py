"""`verify` of many files: one line each, none lost, results kept, and the same answers as one at a time."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from tests.pages import CHROMIUM, browser, read
from trueraster.errors import UsageError
from trueraster.verify.many import files_in

SCRIPT = Path(sys.executable).with_name("trueraster")
PROGRAM = [str(SCRIPT)] if SCRIPT.exists() else [sys.executable, "-c", "from trueraster.cli import main; main()"]


def start(*words: str | Path) -> subprocess.CompletedProcess[str]:
    """Run a command line as a process."""
    return subprocess.run([*PROGRAM, *map(str, words)], capture_output=True, text=True, timeout=120)


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as a lab has it: good frames, one of another range, one that is broken, and files that are no frames."""
    folder = tmp_path_factory.mktemp("shelf")
    inner = folder / "player 2"
    assert start("draw", "bars", "--as", "png", "--to", inner / "a.png").returncode == 0
    image = Image.open(inner / "a.png").convert("RGB")
    image.point([round(16 + i * 219 / 255) for i in range(256)] * 3).save(folder / "squeezed.png")
    (folder / "broken.png").write_bytes(b"\x89PNG\r\n\x1a\nno more")
    (folder / "notes.txt").write_text("no frame")
    (folder / ".half-written.png").write_bytes(b"")
    return folder


def lines(done: subprocess.CompletedProcess[str]) -> list[dict[str, Any]]:
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_folder_gives_one_line_a_file_and_the_worst_exit_code(shelf: Path) -> None:
    """Pictures of inner folders too, by name; a broken one stops none; notes and hidden files are left out."""
    done = start("verify", shelf, "--format", "480i", "--pattern", "bars", "--jobs", "2")
    assert done.returncode == 2
    broken, squeezed, good, totals = done.stdout.splitlines()
    assert broken.startswith(f"{shelf / 'broken.png'}: ")
    assert "PASS" not in broken
    assert squeezed.startswith(f"{shelf / 'squeezed.png'}: FAIL: ")
    assert "Full range squeezed to narrow" in squeezed
    assert good.startswith(f"{shelf / 'player 2' / 'a.png'}: PASS: ")
    assert totals == "3 files: 1 passed, 1 failed, 1 cannot be read"


@pytest.mark.parametrize(("names", "code"), [(("player 2/a.png", "player 2"), 0), (("squeezed.png", "player 2"), 1)])
def test_exit_code_is_that_of_the_worst_file(shelf: Path, names: tuple[str, ...], code: int) -> None:
    """0 where all pass, 1 where one fails; a file that is named twice is one file."""
    done = start("verify", *(shelf / name for name in names), "--format", "480i", "--pattern", "bars")
    assert done.returncode == code
    assert done.stdout.splitlines()[-1].startswith(f"{1 + code} files: ")


def test_answers_are_those_of_one_file_at_a_time(shelf: Path) -> None:
    """Each object of `--json` holds what `verify FILE --json` prints, besides its name, hash and exit code."""
    asked = ("--format", "480i", "--pattern", "bars", "--json")
    whole = json.loads(start("verify", shelf, *asked).stdout)
    assert whole["totals"] == {"passed": 1, "failed": 1, "unreadable": 1, "reused": 0}
    assert whole["first_faults"] == {"range-compressed": 1}
    for held in whole["files"]:
        alone = start("verify", held["path"], *asked)
        assert held.pop("exit") == alone.returncode
        if alone.returncode == 2:
            assert alone.stderr == f"trueraster: {held['error']}\n"
            continue
        path, digest, reused = held.pop("path"), held.pop("sha256"), held.pop("reused")
        assert (len(digest), reused) == (64, False)
        assert held == json.loads(alone.stdout), path


def test_kept_results_are_used_again_for_the_same_bytes_and_options(shelf: Path, tmp_path: Path) -> None:
    """A second run verifies nothing; a renamed file is known, a changed one and other options are not."""
    folder = tmp_path / "shelf"
    shutil.copytree(shelf, folder)
    asked = ("--format", "480i", "--pattern", "bars", "--jsonl", "--to", tmp_path / "kept.jsonl")
    first = lines(start("verify", folder, *asked))
    assert [one["reused"] for one in first] == [False] * 3
    (folder / "squeezed.png").rename(folder / "renamed.png")
    again = lines(start("verify", folder, *asked))
    assert [Path(one["path"]).name for one in again] == ["broken.png", "renamed.png", "a.png"]
    assert [one["reused"] for one in again] == [True] * 3
    assert again[1]["patches"] == first[1]["patches"]
    assert again[0]["error"] == first[0]["error"]
    Image.open(folder / "renamed.png").transpose(Image.Transpose.FLIP_LEFT_RIGHT).save(folder / "renamed.png")
    assert [one["reused"] for one in lines(start("verify", folder, *asked))] == [True, False, True]
    assert [one["reused"] for one in lines(start("verify", folder, *asked, "--tolerance", "30"))] == [False] * 3


def test_stopped_run_goes_on_where_it_was(shelf: Path, tmp_path: Path) -> None:
    """Killed after its first lines, a run leaves no process; the next one uses what was kept, whatever was cut off."""
    folder = tmp_path / "many"
    folder.mkdir()
    for i in range(12):
        image = Image.open(shelf / "squeezed.png").convert("RGB")
        image.putpixel((0, 0), (i, 0, 0))
        image.save(folder / f"{i:02}.png")
    kept = tmp_path / "kept.jsonl"
    asked = [*PROGRAM, "verify", str(folder), "--format", "480i", "--pattern", "bars", "--to", str(kept), "--jobs", "2"]
    running = subprocess.Popen(asked, stdout=subprocess.PIPE, start_new_session=True)
    assert running.stdout is not None
    running.stdout.readline()
    running.kill()
    running.wait()
    running.stdout.close()
    wait_until_gone(running.pid)
    assert 1 <= kept.read_bytes().count(b"\n") < 12
    with kept.open("ab") as file:
        file.write(b'{"path": "cut o')
    done = start("verify", folder, "--format", "480i", "--pattern", "bars", "--to", kept, "--jsonl")
    results = lines(done)
    assert len(results) == 12
    assert 1 <= sum(one["reused"] for one in results) < 12
    assert done.returncode == 1
    assert len({json.loads(line)["sha256"] for line in kept.read_text().splitlines()}) == 12


def wait_until_gone(group: int) -> None:
    """Wait until no process of a group is left, at most ten seconds."""
    for _ in range(100):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return
        time.sleep(0.1)
    os.killpg(group, signal.SIGKILL)
    pytest.fail("worker processes outlive the command")


@pytest.mark.parametrize("text", ['{"name": "my set"}', '{"name": "my set"}\n', "a,b\n1,2\n", '{"path": 1}\n', "[[[\n"])
def test_file_that_holds_something_else_is_left_as_it_is(shelf: Path, tmp_path: Path, text: str) -> None:
    """--to never adds to a file that is not its own."""
    mine = tmp_path / "mine.jsonl"
    mine.write_text(text)
    done = start("verify", shelf, "--to", mine)
    assert (done.returncode, done.stdout) == (2, "")
    assert "holds something else" in done.stderr
    assert done.stderr.count("\n") == 1
    assert mine.read_text() == text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--json", "--jsonl"), "--json and --jsonl"),
        (("--picture", "p.png"), "--picture: one file at a time"),
        (("--page", "p.txt"), "--page"),
        (("--to", "kept.txt"), "--to"),
        (("--jobs", "0"), "--jobs"),
        (("--jobs", "2", "--cluster", "tcp://127.0.0.1:1"), "--jobs and --cluster"),
        (("--to", "/dev/null/x.jsonl"), "/dev/null"),
    ],
)
def test_mistakes_are_one_line_before_work_begins(shelf: Path, words: tuple[str, ...], said: str) -> None:
    """Nothing is verified when an option cannot be meant."""
    done = start("verify", shelf, *words)
    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr
    assert done.stderr.count("\n") == 1


def test_folder_without_pictures_is_a_mistake(tmp_path: Path) -> None:
    """An empty folder is more likely a wrong name than a wish."""
    with pytest.raises(UsageError, match="no picture and no clip"):
        files_in([tmp_path])


def test_full_disk_is_one_line(shelf: Path, tmp_path: Path) -> None:
    """A file of results that cannot grow ends the run with one line."""
    asked = f"verify '{shelf}' --format 480i --pattern bars --to '{tmp_path}/kept.jsonl'"
    if len(PROGRAM) > 1:
        pytest.skip("needs the installed command")
    done = subprocess.run(
        ["bash", "-c", f"ulimit -f 1; exec {PROGRAM[0]} {asked}"], capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "kept.jsonl" in done.stderr


def page_of(shelf: Path, folder: Path) -> Path:
    page = folder / "page.html"
    done = start("verify", shelf, "--format", "480i", "--pattern", "bars", "--page", page)
    assert done.returncode == 2
    return page


def test_page_shows_each_failed_file_under_its_fault(shelf: Path, tmp_path: Path) -> None:
    """Each that failed has a small picture, its name and what was found; what cannot be read is a line."""
    page = read(page_of(shelf, tmp_path).read_text(encoding="utf-8"))
    assert page.all("h1")[0].text == "3 files: 1 passed, 1 failed, 1 cannot be read"
    assert [one.text for one in page.all("h2")] == ["Full range squeezed to narrow: 1", "Cannot be read: 1"]
    (failed,) = page.all("ul", class_="files")[0].all("li")
    assert failed.all("img")[0].given["src"].startswith("data:image/jpeg;base64,")
    assert failed.all("p")[0].text == str(shelf / "squeezed.png")
    assert "Full range squeezed to narrow" in failed.all("p")[1].text
    assert page.all("ul", class_="lines")[0].text.startswith(str(shelf / "broken.png"))


@pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium here")
def test_page_fits_a_phone_and_fetches_nothing(shelf: Path, tmp_path: Path) -> None:
    """At 360, 390 and 1000 px nothing is wider than the window, and nothing is asked of the network."""
    with browser(page_of(shelf, tmp_path)) as shown:
        for width in (360, 390, 1000):
            shown.show(width, 800)
            assert shown.evaluate("document.documentElement.scrollWidth") <= width
        urls = [
            event["params"]["request"]["url"]
            for event in shown.events
            if event["method"] == "Network.requestWillBeSent"
        ]
        assert [url[:40] for url in urls if not url.startswith(("file:", "data:"))] == []


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
        return port


@contextlib.contextmanager
def cluster(workers: int) -> Iterator[str]:
    """A scheduler of distributed and its workers on the loopback: the library's own programs."""
    port = free_port()
    address = f"tcp://127.0.0.1:{port}"

    def begun(*words: str) -> subprocess.Popen[bytes]:
        return subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    of = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", str(port)]
    started = [begun(*of, "--no-dashboard")]
    try:
        wait_for(port)
        one = [sys.executable, "-m", "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-nanny"]
        started += [begun(*one, "--no-dashboard") for _ in range(workers)]
        yield address
    finally:
        for process in started:
            process.kill()
            process.wait()


def wait_for(port: int) -> None:
    for _ in range(300):
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            return
        time.sleep(0.1)
    pytest.fail("the scheduler does not start")


def test_cluster_that_does_not_answer_is_one_line(shelf: Path) -> None:
    """Nobody listens there, or nobody works there."""
    pytest.importorskip("distributed")
    done = start("verify", shelf, "--cluster", f"tcp://127.0.0.1:{free_port()}")
    assert (done.returncode, done.stdout) == (2, "")
    assert "no scheduler answers" in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.slow
def test_cluster_gives_the_same_answers(shelf: Path) -> None:
    """The workers of a scheduler see the same folders; without a worker it is one line."""
    pytest.importorskip("distributed")
    asked = ("--format", "480i", "--pattern", "bars", "--jsonl")
    with cluster(0) as address:
        done = start("verify", shelf, *asked, "--cluster", address)
        assert done.returncode == 2
        assert "has no worker" in done.stderr
    with cluster(1) as address:
        for _ in range(60):
            done = start("verify", shelf, *asked, "--cluster", address)
            if "has no worker" not in done.stderr:
                break
        assert lines(done) == lines(start("verify", shelf, *asked))
        assert done.returncode == 2
