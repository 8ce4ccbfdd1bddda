"""Soundfonts made smaller, so that several makers' fonts can travel together.

Only what melodic presets need is kept, in mono and at half the rate where that leaves
loops exact; then everything is coded as Vorbis by ``sf3convert``.  Record layouts:
*SoundFont Technical Specification 2.04*, E-mu Systems, 2006.

Runs once, on the machine that collects.
"""

from __future__ import annotations

import struct
import subprocess
import tempfile
from pathlib import Path

import numpy as np

from phrasefit.errors import ParameterError

PRESET = np.dtype([("name", "S20"), ("preset", "<u2"), ("bank", "<u2"), ("bag", "<u2"),
                   ("rest", "V12")])  # fmt: skip
INSTRUMENT = np.dtype([("name", "S20"), ("bag", "<u2")])
BAG = np.dtype([("gen", "<u2"), ("mod", "<u2")])
GENERATOR = np.dtype([("oper", "<u2"), ("amount", "<u2")])
SAMPLE = np.dtype([("name", "S20"), ("start", "<u4"), ("end", "<u4"), ("loop", "<u4"),
                   ("loop_end", "<u4"), ("rate", "<u4"), ("pitch", "u1"), ("correction", "i1"),
                   ("link", "<u2"), ("type", "<u2")])  # fmt: skip
INSTRUMENT_OPER, SAMPLE_OPER = 41, 53
FINE_OFFSETS = (0, 1, 2, 3)  # moves of addresses inside a sample, in samples
COARSE_OFFSETS = (4, 12, 45, 50)  # the same in steps of 32768 samples
EFFECTS = frozenset({*range(96, 104), *range(115, 128)})  # presets no part asks for
RIGHT, LEFT = 2, 4  # sample types
PAD = 46  # zeros the format wants after each sample


def reduce_font(source: Path, target: Path, *, quality: float = 0.1) -> None:
    """Write a small ``.sf3`` of the melodic presets of an ``.sf2``.

    Raises
    ------
    ParameterError
        If `source` is no soundfont.
    """
    chunks = _read_chunks(source)
    used, coarse = _used_samples(chunks)
    headers = np.frombuffer(chunks["shdr"], SAMPLE).copy()
    wave = np.frombuffer(chunks["smpl"], "<i2")
    pieces, at, halved = [], 0, set()
    for i in range(headers.size - 1):
        row = headers[i]
        sound, loop = _shrink(wave, row, keep=i in used, fixed=i in coarse)
        row["start"], row["end"] = at, at + sound.size
        row["loop"], row["loop_end"] = at + loop[0], at + loop[1]
        if loop[2]:
            row["rate"] //= 2
            halved.add(i)
        pieces += [sound, np.zeros(PAD, "<i2")]
        at += sound.size + PAD
    chunks["smpl"] = np.concatenate(pieces).astype("<i2").tobytes()
    chunks["shdr"] = headers.tobytes()
    chunks["igen"] = _halve_offsets(chunks, halved)
    chunks.pop("sm24", None)
    with tempfile.TemporaryDirectory() as folder:
        small = Path(folder) / "small.sf2"
        small.write_bytes(_join(chunks))
        command = ["sf3convert", "-z", "-q", str(quality), str(small), str(target)]
        subprocess.run(command, check=True, capture_output=True)


def _read_chunks(path: Path) -> dict[str, bytes]:
    """Split a soundfont into its leaf chunks, in order."""
    data = path.read_bytes()
    if data[:4] != b"RIFF" or data[8:12] != b"sfbk":
        raise ParameterError(f"{path}: is no soundfont; name an .sf2 file")
    chunks: dict[str, bytes] = {}
    at = 12
    while at + 8 <= len(data):
        name, size = data[at : at + 4], struct.unpack("<I", data[at + 4 : at + 8])[0]
        if name == b"LIST":
            at += 12
            continue
        chunks[name.decode()] = data[at + 8 : at + 8 + size]
        at += 8 + size + size % 2
    return chunks


def _used_samples(chunks: dict[str, bytes]) -> tuple[set[int], set[int]]:
    """Find the samples melodic presets play (right channels left out), and those whose
    addresses generators move by whole blocks."""
    presets = np.frombuffer(chunks["phdr"], PRESET)
    pbag, pgen = np.frombuffer(chunks["pbag"], BAG), np.frombuffer(chunks["pgen"], GENERATOR)
    ibag, igen = np.frombuffer(chunks["ibag"], BAG), np.frombuffer(chunks["igen"], GENERATOR)
    instruments = np.frombuffer(chunks["inst"], INSTRUMENT)
    headers = np.frombuffer(chunks["shdr"], SAMPLE)
    used: set[int] = set()
    coarse: set[int] = set()
    for i in range(presets.size - 1):
        if presets["bank"][i] > 0 or presets["preset"][i] in EFFECTS:
            continue
        zone = pgen[pbag["gen"][presets["bag"][i]] : pbag["gen"][presets["bag"][i + 1]]]
        for number in zone["amount"][zone["oper"] == INSTRUMENT_OPER].tolist():
            first, last = instruments["bag"][number], instruments["bag"][number + 1]
            for bag in range(first, last):
                rows = igen[ibag["gen"][bag] : ibag["gen"][bag + 1]]
                samples = rows["amount"][rows["oper"] == SAMPLE_OPER].tolist()
                used.update(samples)
                moved = np.isin(rows["oper"], COARSE_OFFSETS) & (rows["amount"] != 0)
                if moved.any():
                    coarse.update(samples)
    # Not every font links its channels: with a left for each right, the rights can go.
    rights = {i for i in used if headers["type"][i] & 7 == RIGHT}
    lefts = {i for i in used if headers["type"][i] & 7 == LEFT}
    return (used - rights if len(lefts) >= len(rights) else used), coarse


def _halve_offsets(chunks: dict[str, bytes], halved: set[int]) -> bytes:
    """Halve the address moves of zones whose samples were halved."""
    ibag, igen = np.frombuffer(chunks["ibag"], BAG), np.frombuffer(chunks["igen"], GENERATOR).copy()
    for first, last in zip(ibag["gen"][:-1], ibag["gen"][1:], strict=True):
        rows = igen[first:last]
        samples = rows["amount"][rows["oper"] == SAMPLE_OPER]
        if samples.size and int(samples[0]) in halved:
            moved = np.isin(rows["oper"], FINE_OFFSETS)
            rows["amount"][moved] = (rows["amount"][moved].view("<i2") // 2).view("<u2")
    return igen.tobytes()


def _shrink(
    wave: np.ndarray, row: np.ndarray, *, keep: bool, fixed: bool
) -> tuple[np.ndarray, tuple[int, int, bool]]:
    """Return a sample and its (loop start, loop end, halved?)."""
    from scipy.signal import resample_poly

    if not keep:
        return np.zeros(48, "<i2"), (8, 40, False)
    sound = wave[row["start"] : row["end"]]
    loop = int(row["loop"]) - int(row["start"]), int(row["loop_end"]) - int(row["start"])
    length = loop[1] - loop[0]
    halved = not fixed and row["rate"] >= 32000 and (length % 2 == 0 or length > 2000)
    if not halved:
        return sound, (*loop, False)
    if loop[0] % 2:  # an even start keeps the loop on the new grid
        loop = loop[0] - 1, loop[1] - 1
    small = resample_poly(sound.astype(np.float32), 1, 2)
    small = np.clip(np.round(small), -32768, 32767).astype("<i2")
    return small, (loop[0] // 2, loop[1] // 2, True)


def _join(chunks: dict[str, bytes]) -> bytes:
    """Put the chunks back into lists and a file."""
    pdta = ("phdr", "pbag", "pmod", "pgen", "inst", "ibag", "imod", "igen", "shdr")
    info = [name for name in chunks if name not in pdta and name != "smpl"]
    lists = ((b"INFO", info), (b"sdta", ["smpl"]), (b"pdta", pdta))
    body = b"sfbk"
    for kind, names in lists:
        inner = kind + b"".join(_chunk(name.encode(), chunks[name]) for name in names)
        body += _chunk(b"LIST", inner)
    return _chunk(b"RIFF", body)


def _chunk(name: bytes, data: bytes) -> bytes:
    """One RIFF chunk, padded to an even length."""
    return name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)
