"""A pack appears whole or not at all, and replaces only a pack."""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

import pytest

from phrasefit.errors import OutputError
from phrasefit.model import FitPlan
from phrasefit.reports import pack
from phrasefit.reports.pack import write_pack


class Links(HTMLParser):
    """Collects what a page links to."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note every address."""
        self.found += [value for name, value in attrs if name in ("href", "src") and value]


@pytest.fixture(scope="module")
def folder(tagged: FitPlan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a whole pack, with practice audio of one tempo; it is only looked at."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pack, "PRACTICE_PERCENTS", (85,))
        return write_pack(tmp_path_factory.mktemp("packs") / "class", tagged)


@pytest.fixture
def small_pack(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out what is slow to make: practice audio and paper."""
    monkeypatch.setattr(pack, "PRACTICE_PERCENTS", ())
    monkeypatch.setattr(pack, "_papers", lambda *_: ())


def test_index_links_every_file_and_nothing_else(folder: Path) -> None:
    """Each link of the index is a file of the folder, and each file is linked."""
    links = Links()
    links.feed((folder / "index.html").read_text("utf-8"))

    names = {path.name for path in folder.iterdir()} - {"index.html"}
    linked = {link.removeprefix("./") for link in links.found} - {"data:,"}  # no icon is fetched
    assert linked == names
    assert all((folder / name).stat().st_size > 100 for name in names)
    assert list(folder.parent.iterdir()) == [folder]


def test_practice_audio_is_in_the_pack(folder: Path) -> None:
    """The tempos of teaching are there."""
    assert pack.PRACTICE_PERCENTS == (75, 85, 100)
    assert (folder / "practice-85.ogg").read_bytes().startswith(b"OggS")
    index = (folder / "index.html").read_text("utf-8")
    assert '<audio controls preload="none" src="./practice-85.ogg"' in index
    assert "media-src 'self' file:" in index


def test_index_leads_with_the_rehearsal_page(folder: Path) -> None:
    """Then practice and paper; what only programs read is folded, song and routine are named."""
    index = (folder / "index.html").read_text("utf-8")
    visible, _, folded = index.partition("<details>")

    links = Links()
    links.feed(visible.partition("<body>")[2])
    assert links.found[0] == "./rehearsal.html"
    assert "Lantern Row &lt;&amp;&gt;" in visible
    for name in ("captions.vtt", "walls.csv", "song.mid", "song.jams", "plan.json"):
        assert name in folded
        assert name not in visible


@pytest.mark.usefixtures("small_pack")
@pytest.mark.parametrize(
    "trouble", [OSError(28, "No space left on device"), OSError("No space left in this folder")]
)
def test_a_failure_half_way_leaves_the_old_pack(
    tagged: FitPlan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, trouble: OSError
) -> None:
    """A full disk while the third file is written changes nothing."""
    folder = write_pack(tmp_path / "class", tagged)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    written = []

    def full(path: Path, data: bytes) -> int:
        written.append(path)
        if len(written) == 3:
            raise trouble
        return len(data)

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OutputError, match="No space left"):
        write_pack(folder, tagged, force=True)
    monkeypatch.undo()

    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert list(tmp_path.iterdir()) == [folder]


def test_other_folders_are_left_alone(tagged: FitPlan, tmp_path: Path) -> None:
    """An existing pack needs force; a folder with other things is never replaced."""
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "one.jpg").touch()
    (tmp_path / "file").touch()

    with pytest.raises(OutputError, match="--force"):
        write_pack(tmp_path / "photos", tagged)
    with pytest.raises(OutputError, match="other things"):
        write_pack(tmp_path / "photos", tagged, force=True)
    with pytest.raises(OutputError, match="is a file"):
        write_pack(tmp_path / "file", tagged, force=True)
    with pytest.raises(OutputError, match="does not exist"):
        write_pack(tmp_path / "no" / "where", tagged)


@pytest.mark.usefixtures("small_pack")
def test_own_files_in_a_pack_survive_its_renewal(tagged: FitPlan, tmp_path: Path) -> None:
    """What an instructor laid beside our files is still there afterwards."""
    folder = write_pack(tmp_path / "class", tagged)
    (folder / "notes.txt").write_text("mind the step")
    (folder / "photos").mkdir()
    (folder / "photos" / "a.jpg").write_bytes(b"x")

    write_pack(folder, tagged, force=True)

    assert (folder / "notes.txt").read_text() == "mind the step"
    assert (folder / "photos" / "a.jpg").exists()
    assert list(tmp_path.iterdir()) == [folder]


@pytest.mark.usefixtures("small_pack")
def test_a_linked_folder_stays_a_link(tagged: FitPlan, tmp_path: Path) -> None:
    """The pack is renewed where the link leads; link and neighbors stay as they were."""
    (tmp_path / "disk").mkdir()
    real = write_pack(tmp_path / "disk" / "class", tagged)
    (tmp_path / "link").symlink_to(real)
    (real / "rehearsal.html").write_text("old")

    write_pack(tmp_path / "link", tagged, force=True)

    assert (tmp_path / "link").is_symlink() and (tmp_path / "link").readlink() == real
    assert (real / "rehearsal.html").read_text("utf-8").startswith("<!doctype html>")
    assert {path.name for path in tmp_path.iterdir()} == {"disk", "link"}
    assert list((tmp_path / "disk").iterdir()) == [real]


def test_a_link_that_leads_nowhere_is_refused(tagged: FitPlan, tmp_path: Path) -> None:
    """Nothing is made at its end, not even with force."""
    (tmp_path / "link").symlink_to(tmp_path / "gone")

    with pytest.raises(OutputError, match="leads nowhere"):
        write_pack(tmp_path / "link", tagged, force=True)
    assert {path.name for path in tmp_path.iterdir()} == {"link"}
