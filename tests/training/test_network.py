"""The network in PyTorch and the one in NumPy are the same function."""

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from phrasefit.meter.learned import WINDOW_FRAMES, LearnedModel, run_network  # noqa: E402
from phrasefit.training.export import (  # noqa: E402
    export_weights,
    freeze_norms,
    import_weights,
    save_weights,
)
from phrasefit.training.network import BeatNetwork  # noqa: E402


@pytest.fixture(scope="module")
def network():
    """An untrained network whose running statistics are not the trivial ones."""
    torch.manual_seed(3)
    torch.set_num_threads(1)
    network = BeatNetwork()
    network.train()
    with torch.no_grad():
        network(torch.rand(2, 256, 96) * 5)
    return network.eval()


def test_numpy_runtime_equals_pytorch(network):
    """Folded weights give PyTorch's logits to single precision."""
    log_mel = np.random.default_rng(1).uniform(0, 6, (512, 96)).astype(np.float32)
    with torch.no_grad():
        expected = network(torch.as_tensor(log_mel)[None])[0].numpy()
    assert np.abs(run_network(export_weights(network), log_mel) - expected).max() < 2e-4


def test_shipped_size_and_half_precision(network, tmp_path):
    """The file stays under 3 MB and half precision moves no probability by 1 %."""
    arrays = export_weights(network)
    path = save_weights(arrays, tmp_path / "w.npz")
    assert path.stat().st_size <= 3e6
    with np.load(path) as archive:
        rounded = {k: archive[k].astype(np.float32) for k in archive.files}
    log_mel = np.random.default_rng(2).uniform(0, 6, (WINDOW_FRAMES, 96)).astype(np.float32)
    whole = LearnedModel(arrays).probabilities(log_mel)
    assert np.abs(LearnedModel(rounded).probabilities(log_mel) - whole).max() < 0.01


def test_a_run_goes_on_from_exported_weights(network):
    """Weights put back into a fresh network are exported as they were; norms stay frozen."""
    arrays = export_weights(network)
    other = BeatNetwork().train()
    import_weights(other, arrays)
    freeze_norms(other)
    again = export_weights(other)

    assert again.keys() == arrays.keys()
    assert all(np.allclose(again[name], arrays[name], atol=1e-5) for name in arrays)
    other(torch.rand(2, 64, 96)).sum().backward()  # a step's forward pass measures no batch
    after = export_weights(other)
    assert all(np.array_equal(after[name], again[name]) for name in again)
