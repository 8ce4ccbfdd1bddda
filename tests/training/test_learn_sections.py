"""Learning where sections begin: the loss, and the weights that ship."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="only training needs PyTorch")

from phrasefit.form.boundary_model import line_odds  # noqa: E402
from phrasefit.training.form_edits import edited  # noqa: E402
from phrasefit.training.form_songs import FormSong, demo_form_song  # noqa: E402
from phrasefit.training.sections import (  # noqa: E402
    LineNetwork,
    boundary_f,
    example,
    export_networks,
    import_networks,
    learn,
    loss,
    segment_scores,
    stack,
)


@pytest.fixture(scope="module")
def song() -> FormSong:
    """A short song by the demo generator."""
    return demo_form_song(6)


def test_the_loss_is_the_log_probability_of_the_truth(song: FormSong) -> None:
    """Against the sum over all segmentations of ten bars, each written out."""
    torch.manual_seed(1)
    network = LineNetwork().eval()
    item = example(song)
    n = 10
    small = type(item)(
        name="ten bars", cues=item.cues[:n], lengths=item.lengths[: n + 1, : n + 1],
        repeats=item.repeats[: n + 1, : n + 1], edges=np.array([0, 4, n]), phrases=None,
    )  # fmt: skip
    batch = stack([small])
    scores = segment_scores(network, batch, network(batch.cues, batch.inside)[0])[0].detach()

    def total(edges: tuple[int, ...]) -> float:
        return sum(float(scores[a, b]) for a, b in pairwise(edges))

    every = [total((0, *inner, n)) for k in range(n) for inner in combinations(range(1, n), k)]
    expected = (np.logaddexp.reduce(every) - total((0, 4, n))) / 2

    assert len(every) == 2 ** (n - 1)
    assert loss(network, batch).item() == pytest.approx(expected, abs=1e-4)


def test_songs_side_by_side_do_not_touch(song: FormSong) -> None:
    """A short song beside a long one is judged as it is alone."""
    torch.manual_seed(2)
    network = LineNetwork().eval()
    long, short = example(song), example(song)
    short = type(short)(
        name="short", cues=short.cues[:14], lengths=short.lengths[:15, :15],
        repeats=short.repeats[:15, :15], edges=np.array([0, 8, 14]), phrases=None,
    )  # fmt: skip
    alone, both = stack([short]), stack([short, long])

    expected = network(alone.cues, alone.inside)[0][0, :14]
    got = network(both.cues, both.inside)[0][0, :14]
    assert torch.allclose(expected, got, atol=1e-5)


def test_what_ships_says_what_was_learned(song: FormSong) -> None:
    """NumPy on exported weights gives the mean of the networks."""
    networks = [LineNetwork().eval() for _ in range(2)]
    item = example(song)
    batch = stack([item])
    with torch.no_grad():
        heard = [network(batch.cues, batch.inside) for network in networks]
    odds, phrase_odds = line_odds(item.cues, export_networks(networks))

    assert np.allclose(odds, np.mean([a[0].numpy() for a, _ in heard], axis=0), atol=1e-4)
    assert np.allclose(phrase_odds, np.mean([b[0].numpy() for _, b in heard], axis=0), atol=1e-4)


def test_networks_go_on_from_what_they_wrote(song: FormSong) -> None:
    """Each one read again judges bar lines as it did before."""
    networks = [LineNetwork().eval() for _ in range(2)]
    batch = stack([example(song)])

    again = import_networks(export_networks(networks))

    for one, other in zip(networks, again, strict=True):
        with torch.no_grad():
            expected = one(batch.cues, batch.inside)[0]
            got = other.eval()(batch.cues, batch.inside)[0]
        assert torch.allclose(got, expected, atol=1e-6)


def test_learning_helps(song: FormSong) -> None:
    """A few rounds on one song and its edits find its sections."""
    rng = np.random.default_rng(0)
    edits = [edited(song, rng) for _ in range(12)]
    examples = [example(one) for one in (song, *edits) if one is not None]
    fresh, taught = LineNetwork().eval(), learn(examples, seed=0, epochs=25)

    assert boundary_f([taught], examples) > max(0.9, boundary_f([fresh], examples) + 0.1)
