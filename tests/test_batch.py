"""Many songs at once: nothing is heard twice, and one bad file never stops the others."""

from __future__ import annotations

import dataclasses
import os
import shutil
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import numpy as np
import pytest
import soundfile

from kept_songs import analysis_of, keep, square_song
from phrasefit import batch, pipeline
from phrasefit.batch import Heard, Workers, listen_to, songs_in
from phrasefit.collection import Collection
from phrasefit.errors import MissingExtraError, ParameterError, Reason
from phrasefit.fit import PlanRequest, fit_routine
from phrasefit.model import Correction
from phrasefit.ranking.rank import rank_table
from phrasefit.ranking.summary import summary_of
from phrasefit.routine.from_numbers import routine_from_numbers
from phrasefit.store import Store
from synth import make_song

ROUTINE = routine_from_numbers(counts=32, walls=4)


@pytest.fixture(scope="module")
def sounds(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with two short songs that sound, a broken file and silence."""
    folder = tmp_path_factory.mktemp("sounds")
    for name, bpm in (("one", 112.0), ("two", 126.0)):
        song = make_song("4*16", bpm=bpm, seed=int(bpm))
        soundfile.write(folder / f"{name}.wav", song.samples, song.rate_hz)
    (folder / "broken.mp3").write_text("not a song")
    soundfile.write(folder / "silence.wav", np.zeros(22050 * 8), 22050)
    return folder


def fake_hear(path: Path, store_path: Path | None, hand_made: bool) -> Heard:
    """Hear a song without listening: it is named by its file."""
    if "bomb" in path.name:
        os._exit(13)
    analysis = analysis_of(square_song(path.stem, 4, 8, 8, 8, 8), path)
    version = pipeline.analysis_version()
    return Heard(
        path=path,
        content_hash=analysis.info.content_hash,
        document=pipeline.document_of(analysis),
        summary=summary_of(analysis.bar_map, key=analysis.info.content_hash, version=version),
    )


def touch(folder: Path, *names: str) -> list[Path]:
    """Make files that look like songs."""
    paths = [folder / name for name in names]
    for path in paths:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(path.name.encode())
    return paths


# ----------------------------------------------------------------- finding


def test_songs_in_folders(tmp_path: Path) -> None:
    """Song files of all subfolders in order; hidden ones and other kinds are passed over."""
    touch(tmp_path, "b/x.MP3", "a.flac", "b/c/y.ogg", ".hidden.wav", "b/._x.mp3", ".h/z.wav")
    touch(tmp_path, "cover.jpg", "list.m3u8")
    odd = touch(tmp_path, "odd.name")[0]

    assert songs_in([tmp_path]) == [tmp_path / n for n in ("a.flac", "b/c/y.ogg", "b/x.MP3")]
    assert songs_in([odd, tmp_path / "b", odd]) == [
        odd,
        tmp_path / "b/c/y.ogg",
        tmp_path / "b/x.MP3",
    ]
    with pytest.raises(ParameterError, match="no such folder or file"):
        songs_in([tmp_path / "missing"])


# --------------------------------------------------------------- listening


def test_real_folder_in_two_processes(sounds: Path, tmp_path: Path) -> None:
    """Songs are heard and kept, troubles told with reasons; the second run hears nothing."""
    paths = songs_in([sounds])
    shown = []
    with Store() as store:
        first = listen_to(
            paths, store, workers=Workers(n_jobs=2), progress=lambda *done: shown.append(done)
        )
        second = listen_to(paths, store, workers=Workers(n_jobs=2))
        library = Collection.of(store, keys=first.hash_of.values())
        request = PlanRequest(routine=ROUTINE)
        ranking = rank_table(library.table, request, library.planner(request))

    assert sorted(path.stem for path in first.hash_of) == ["one", "two"]
    assert {f.path.stem: f.trouble for f in first.failures}.keys() == {"broken", "silence"}
    assert "is not a sound file" in first.failures[0].trouble
    assert "beat" in first.failures[1].trouble
    assert [f.reason for f in first.failures] == [None, Reason.SILENT]
    assert second.failures == first.failures
    assert first.n_new == 4
    assert [done[:2] for done in shown] == [(i, 4) for i in range(1, 5)]
    assert second.n_new == 0
    assert (second.hash_of, second.failures) == (first.hash_of, first.failures)
    assert len(ranking.songs) == 2
    for row in ranking.songs:
        alone = pipeline.analyse(first.path_of[row.key])
        assert row.fit.plan == fit_routine(alone.bar_map, ROUTINE).plan


def test_renamed_and_retagged_song_is_known(
    sounds: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same sound under another name, kind and tag is recalled, with its new title."""
    original = tmp_path / "old name.wav"
    shutil.copy(sounds / "one.wav", original)
    with Store() as store:
        before = listen_to([original], store)
        key = before.hash_of[original]
        store.put_correction(key, {"shift_one_beats": 1})
        monkeypatch.setattr(pipeline, "_track", None)  # tracking again would fail
        samples, rate = soundfile.read(original)
        renamed = tmp_path / "moved" / "new.flac"
        renamed.parent.mkdir()
        original.unlink()
        with soundfile.SoundFile(renamed, "w", rate, 1, "PCM_16") as file:
            file.title = "New Tag"
            file.write(samples)

        after = listen_to([renamed], store)

        assert after.hash_of == {renamed: key}
        library = Collection.of(store, keys=[key])
        assert [song.title for song in library.table.songs] == ["New Tag"]
        assert library.analysis(key).correction == Correction(shift_one_beats=1)


def test_dying_worker_costs_only_its_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that ends the process that reads it is named; all others are heard."""
    monkeypatch.setattr(batch, "hear", fake_hear)
    paths = touch(tmp_path, *(f"{i:02}.wav" for i in range(6)), "bomb.wav", "z.wav")
    with Store() as store:
        report = listen_to(paths, store, workers=Workers(n_jobs=2))

    assert [failure.path.name for failure in report.failures] == ["bomb.wav"]
    assert "ended the program" in report.failures[0].trouble
    assert len(report.hash_of) == 7
    assert report.n_new == 8


def test_error_that_nobody_expected(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A slip in the program itself is a reason beside the file, and tried again next time."""
    (path,) = touch(tmp_path, "a.wav")
    monkeypatch.setattr(pipeline, "listen", lambda *a, **k: 1 / 0)
    with Store() as store:
        for _ in range(2):
            report = listen_to([path], store)
            assert report.n_new == 1
            assert "ZeroDivisionError" in report.failures[0].trouble


def test_full_disk_does_not_stop_the_ranking(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be kept is still ranked, and the trouble told once."""
    monkeypatch.setattr(batch, "hear", fake_hear)
    paths = touch(tmp_path, "a.wav", "b.wav")
    with Store() as store:
        (pages,) = store._ask("PRAGMA page_count")[0]
        store._db.execute(f"PRAGMA max_page_count = {pages}")

        report = listen_to(paths, store, workers=Workers(n_jobs=1))
        library = Collection.of(store, keys=report.hash_of.values(), unkept=report.unkept)
        request = PlanRequest(routine=ROUTINE)
        ranking = rank_table(library.table, request, library.planner(request), top=None)

    assert len(report.notes) == 1
    assert "make room on the disk" in report.notes[0]
    assert sorted(row.fit.bar_map.title for row in ranking.songs) == ["a", "b"]


def test_interrupt_keeps_what_is_done(sounds: Path, tmp_path: Path) -> None:
    """Ctrl-C ends the batch at once with a message; songs that were done are kept."""
    folder = tmp_path / "many"
    folder.mkdir()
    samples, rate = soundfile.read(sounds / "one.wav")
    for i in range(48):  # more than two processes hear while the signal travels
        soundfile.write(folder / f"{i:02d}.wav", samples * (1 - i / 100), rate)
    code = """
        import signal, sys
        from pathlib import Path
        from phrasefit.batch import Workers, listen_to, songs_in
        from phrasefit.store import Store
        signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored in the background
        with Store() as store:
            report = listen_to(
                songs_in([Path(sys.argv[1])]), store, workers=Workers(n_jobs=2),
                progress=lambda n, total, path: print("done", flush=True),
            )
        print("left", report.n_left, "new", report.n_new, len(report.hash_of))
    """
    program = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code), str(folder)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    assert program.stdout.readline() == "done\n"

    os.killpg(program.pid, signal.SIGINT)  # as a terminal does: to workers as well
    out, err = program.communicate(timeout=60)

    words = out.splitlines()[-1].split()
    left, new, kept = int(words[1]), int(words[3]), int(words[4])
    assert program.returncode == 0, err
    assert left > 0
    assert left + new == 48
    assert new == kept
    assert "Traceback" not in err
    with Store() as store:
        assert len(store.hashes_heard(pipeline.analysis_version())) == kept


def test_crew_is_checked() -> None:
    """A scheduler without Dask, Dask without a scheduler, and no such backend are refused."""
    for options in (
        {"backend": "dask"},
        {"scheduler": "tcp://host:1"},
        {"backend": "rope"},
        {"n_jobs": -1},
    ):
        with pytest.raises(ParameterError):
            Workers(**options)
    assert Workers(n_jobs=3).n_workers == 3


def test_missing_dask_names_the_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the library the error says what to install."""
    monkeypatch.setitem(sys.modules, "distributed", None)

    with pytest.raises(MissingExtraError, match="pip install distributed"):
        Workers(backend="dask", scheduler="tcp://host:1").joblib_options()


def test_dask_cluster_of_two_workers(sounds: Path) -> None:
    """The same call with a scheduler: its workers listen, this process stores."""
    pytest.importorskip("distributed")
    code = """
        import sys
        from pathlib import Path
        from distributed import LocalCluster
        from phrasefit.batch import Workers, listen_to, songs_in
        from phrasefit.store import Store
        if __name__ == "__main__":
            with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None,
                              local_directory=sys.argv[2]) as cluster:
                workers = Workers(backend="dask", scheduler=cluster.scheduler_address)
                with Store() as store:
                    report = listen_to(songs_in([Path(sys.argv[1])]), store, workers=workers)
                    print(sorted(p.stem for p in report.hash_of), len(report.failures),
                          store.count("analysis"))
    """
    script = sounds.parent / "dask_script.py"
    script.write_text(textwrap.dedent(code))

    done = subprocess.run(
        [sys.executable, str(script), str(sounds), str(sounds.parent / "scratch")],
        capture_output=True, text=True, timeout=180, check=False,
    )  # fmt: skip

    assert done.stdout == "['one', 'two'] 2 2\n", done.stderr


# ------------------------------------------------------------------ library


def test_library_follows_corrections(tmp_path: Path) -> None:
    """A person's level and meter change what ranking sees, at once."""
    with Store() as store:
        key = keep(store, tmp_path, square_song("Song", 8, 8, 8, bpm=84))
        before = Collection.of(store).table
        store.put_correction(key, {"level": 2.0})

        after = Collection.of(store)
        request = PlanRequest(routine=ROUTINE)
        (row,) = rank_table(after.table, request, after.planner(request), top=1).songs

    (old,), (new,) = before.songs, after.table.songs
    assert (old.tempo_bpm, old.beats_per_count) == (pytest.approx(84), None)
    assert (new.tempo_bpm, new.beats_per_count) == (pytest.approx(168), 1.0)
    assert row.fit.tempo.counts_per_minute == pytest.approx(168)


def test_summaries_are_made_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Songs heard by other commands get their summaries with the first ranking."""
    with Store() as store:
        for title in ("A", "B", "C"):
            keep(store, tmp_path, square_song(title, 8, 8, 8))
        first = Collection.of(store).table
        monkeypatch.setattr("phrasefit.collection.summary_of", None)  # making one would fail

        assert sorted(Collection.of(store).table.keys) == sorted(first.keys)


def test_many_plans_are_shared_among_processes(tmp_path: Path) -> None:
    """Planning in processes gives the same as planning here."""
    with Store() as store:
        for i in range(130):
            keep(store, tmp_path, square_song(f"S{i:03}", 4 + i % 3, 8, 9, 8))
        library = Collection.of(store)
        request = PlanRequest(routine=ROUTINE, max_changes=1)
        indices = list(range(130))

        apart = library.planner(request, workers=Workers(n_jobs=2))(indices)
        here = library.planner(request)(indices[:10])

    assert [fit.plan for fit in apart[:10]] == [fit.plan for fit in here]
    assert len(apart) == 130


def test_second_run_over_a_thousand_songs_listens_to_none(tmp_path: Path) -> None:
    """All of an unchanged folder of 1000 files is recalled."""
    with Store() as store:
        analysis = analysis_of(square_song("S", 8, 8, 8), tmp_path)
        text, version = pipeline.document_of(analysis), pipeline.analysis_version()
        summary = summary_of(analysis.bar_map, key="k", version=version)
        paths = touch(tmp_path, *(f"{i // 50}/{i}.mp3" for i in range(1000)))
        for i, path in enumerate(paths):
            store.put_analysis(f"k{i}", version, text, path=path)
        store.put_summaries(dataclasses.replace(summary, content_hash=f"k{i}") for i in range(1000))

        report = listen_to(songs_in([tmp_path]), store)
        library = Collection.of(store, keys=report.hash_of.values())
        request = PlanRequest(routine=ROUTINE)
        ranking = rank_table(library.table, request, library.planner(request), top=25)

    assert report.n_new == 0
    assert len(ranking.songs) == 25
