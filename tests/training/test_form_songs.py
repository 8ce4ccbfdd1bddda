"""Songs whose sections are known, and other songs made from their bars."""

from __future__ import annotations

import numpy as np
import pytest

from phrasefit.training import form_songs
from phrasefit.training.form_edits import edited
from phrasefit.training.form_songs import FormSong, band_form_song, demo_form_song, draw_plan

# A minute of making songs; `.ci/training` takes it, where the group `training` is installed.
pytest.importorskip("torch", reason="only with the group training, as in .ci/training")


@pytest.fixture(scope="module")
def song() -> FormSong:
    """A short song by the demo generator."""
    return demo_form_song(6)


def test_a_made_song_knows_its_sections(song: FormSong) -> None:
    """Sections and phrases begin on bars of the song; the evidence covers its beats."""
    assert song.evidence.n_beats == song.positions.size
    assert song.section_bars[0] == 0 and song.section_bars[-1] < song.n_bars
    assert len(song.section_bars) >= 4
    assert song.phrase_bars[song.section_bars].all()


def test_a_training_song_has_sections_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """The generator of training songs serves as well; a minute of one shows it."""
    monkeypatch.setattr(form_songs, "SONG_S", 60.0)
    songs = (band_form_song(seed) for seed in (3, 4))

    assert any(song is not None and len(song.section_bars) > 1 for song in songs)


def test_plans_differ_and_some_are_odd() -> None:
    """Forms are drawn: half of the songs have a chorus that is no multiple of four bars."""
    plans = [draw_plan(np.random.default_rng(seed), "shuffle") for seed in range(40)]
    odd = [any(sum(section.phrases) % 4 for section in plan) for plan in plans]

    assert len(set(plans)) > 30
    assert 4 < sum(odd) < 30


@pytest.mark.parametrize("seed", range(25))
def test_an_edit_is_a_song(song: FormSong, seed: int) -> None:
    """Whatever is cut and moved, bars, sections and evidence still belong together."""
    other = edited(song, np.random.default_rng(seed))
    if other is None:
        return

    assert other.evidence.n_beats == other.positions.size
    assert other.positions[0] == 1
    assert list(other.section_bars) == sorted(set(other.section_bars.tolist()))
    assert 0 == other.section_bars[0] <= other.section_bars[-1] < other.n_bars
    assert other.phrase_bars.size == other.n_bars
