"""Songs on the device, bent crops and a short training run on songs of plain clicks."""

import json
from dataclasses import replace

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from phrasefit.audio import HOP_S  # noqa: E402
from phrasefit.training.augment import CROP_FRAMES, draw_batch  # noqa: E402
from phrasefit.training.device_songs import DeviceSongs  # noqa: E402
from phrasefit.training.rendered import (  # noqa: E402
    INAUDIBLE_WEIGHT,
    RenderedSong,
    load_folder,
    load_songs,
    store_songs,
)
from phrasefit.training.train import TrainingPlan, check_songs, pick_peaks, train  # noqa: E402

BEAT_FRAMES = 25  # 120 bpm


def click_song(n_beats: int = 120, first_frame: int = 50) -> RenderedSong:
    """A spectrum that is loud on beats in all bands, and lowest bands on ones."""
    levels = np.zeros((first_frame + n_beats * BEAT_FRAMES, 96), dtype=np.uint8)
    frames = first_frame + BEAT_FRAMES * np.arange(n_beats)
    levels[frames, 30:] = 150
    levels[frames[::4], :30] = 200
    return RenderedSong(
        levels=levels,
        beats_s=frames * HOP_S,
        positions=np.arange(n_beats) % 4 + 1,
        audible=np.ones(n_beats, dtype=bool),
        phrase_starts=np.arange(0, n_beats, 16),
        family="clicks",
        source="test",
    )


@pytest.fixture
def songs():
    songs = DeviceSongs("cpu", capacity_hours=0.05)
    assert songs.add(click_song())
    return songs


def test_targets_stand_where_the_clicks_are(songs):
    """In a crop at the written speed every target peak lies on its click, by head."""
    generator = torch.Generator().manual_seed(1)
    log_mel, targets, weights = draw_batch(songs, 4, generator, bend=False)
    assert log_mel.shape == (4, CROP_FRAMES, 96)
    assert weights.min() == 1
    for crop, target in zip(log_mel, targets, strict=True):
        clicks = torch.nonzero(crop[1:-1, 50] > 2.3)[:, 0] + 1
        peaks = torch.nonzero(target[1:-1, 0] > 0.6)[:, 0] + 1
        assert len(clicks) > 20
        assert all((peaks - click).abs().min() <= 1 for click in clicks)
        assert target[:, 0].sum() == pytest.approx(4 * target[:, 1].sum().item(), rel=0.15)


def test_bent_crops_stay_finite_and_keep_their_beats(songs):
    """Bending changes sound and tempo, never the sense of the targets."""
    generator = torch.Generator().manual_seed(2)
    log_mel, targets, weights = draw_batch(songs, 16, generator)
    assert torch.isfinite(log_mel).all()
    assert log_mel.min() >= 0
    assert targets.min() >= 0
    assert targets.max() <= 1
    assert (weights == 0).any()  # some crops are cut down to clips
    assert (targets[..., 1] <= targets[..., 0] + 1e-6).all()


def test_same_seed_same_batch(songs):
    """A batch follows from songs and seed."""
    batches = [draw_batch(songs, 3, torch.Generator().manual_seed(5)) for _ in range(2)]
    for one, other in zip(*batches, strict=True):
        assert torch.equal(one, other)


def test_inaudible_beats_are_no_targets_and_weigh_little():
    """Where no pulse is heard nothing is to be found, and little is charged."""
    song = click_song(n_beats=8)
    audible = np.array([False] * 4 + [True] * 4)
    quiet = replace(song, audible=audible)
    frames, kinds = quiet.event_frames()
    assert frames[0] == pytest.approx(song.beats_s[4] / HOP_S)
    assert kinds[0, 0]
    weights = quiet.frame_weights()
    assert weights[60] == np.float32(INAUDIBLE_WEIGHT)
    assert weights[-1] == 1


def test_songs_of_unwanted_families_are_left_out(tmp_path):
    """`take_new` reads each file once and leaves out what is named."""
    store_songs(tmp_path / "a.npz", [click_song(), click_song(n_beats=8)])
    long, short = load_songs(tmp_path / "a.npz")
    (tmp_path / ".b.half-written.npz").touch()
    assert (long.family, short.source, len(short.beats_s)) == ("clicks", "test", 8)
    songs = DeviceSongs("cpu", capacity_hours=0.05)
    assert songs.take_new(tmp_path, without=frozenset({"clicks"})) == 0
    songs = DeviceSongs("cpu", capacity_hours=0.05)
    assert songs.take_new(tmp_path) == 2
    assert songs.take_new(tmp_path) == 0
    assert len(load_folder(tmp_path)) == 2


def test_picked_peaks_are_scored_by_family():
    """Perfect activations score 1; a model that hears nothing scores 0."""

    class Oracle:
        def probabilities(self, log_mel):
            return (
                np.stack([log_mel[:, 50] > 4, log_mel[:, 10] > 4, log_mel[:, 10] > 9], axis=1) * 1.0
            )

    class Deaf:
        def probabilities(self, log_mel):
            return np.zeros((len(log_mel), 3))

    assert pick_peaks(np.array([0, 0, 0.9, 0, 0])) == pytest.approx([2 * HOP_S])
    (row,) = check_songs(Oracle(), [click_song()])
    assert (row.family, row.beat_f, row.downbeat_f) == ("clicks", 1.0, 1.0)
    (row,) = check_songs(Deaf(), [click_song()])
    assert (row.beat_f, row.downbeat_f) == (0.0, 0.0)


def test_a_short_run_learns_and_writes_its_story(tmp_path):
    """A few seconds of training lower the loss and leave weights that load."""
    torch.set_num_threads(1)
    songs, validation = tmp_path / "songs", tmp_path / "validation"
    songs.mkdir()
    validation.mkdir()
    store_songs(songs / "a.npz", [click_song()])
    store_songs(validation / "b.npz", [click_song(n_beats=40)])
    plan = TrainingPlan(
        minutes=0.15,
        songs_folder=songs,
        validation_folder=validation,
        out=tmp_path / "w.npz",
        batch=1,
        capacity_hours=0.05,
        watch_every_s=1.0,
        warm_up_steps=5,
    )
    assert train(plan) == plan.out
    story = json.loads(plan.out.with_suffix(".json").read_text())
    losses = [sum(entry["losses"]) for entry in story["log"] if "losses" in entry]
    assert losses[-1] < losses[0]
    assert story["log"][-1]["checks"][0]["family"] == "clicks"


def test_a_run_of_so_many_batches_ends_after_them(tmp_path):
    """Runs that are compared do the same work, however fast the machine is."""
    torch.set_num_threads(1)
    for folder in ("songs", "validation"):
        (tmp_path / folder).mkdir()
        store_songs(tmp_path / folder / "a.npz", [click_song(n_beats=40)])
    plan = TrainingPlan(
        batches=3,
        songs_folder=tmp_path / "songs",
        validation_folder=tmp_path / "validation",
        out=tmp_path / "w.npz",
        batch=1,
        capacity_hours=0.05,
    )
    train(plan)
    assert json.loads(plan.out.with_suffix(".json").read_text())["log"][-1]["steps"] == 3
