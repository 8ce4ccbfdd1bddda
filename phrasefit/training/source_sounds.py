"""Sounds by others, collected from installed packages into compact files.

Soundfonts are made smaller (`source_fonts`) or copied; drum kits of soundfonts
and of the `hydrogen` drum machine become stroke files.  Runs once, on the machine that
collects.
"""

from __future__ import annotations

import logging
import re
import shutil
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np

from phrasefit.training.kits import KIT_RATE_HZ, write_kit
from phrasefit.training.source_fonts import reduce_font

SF2 = Path("/usr/share/sounds/sf2")
HYDROGEN = Path("/usr/share/hydrogen/data/drumkits")
# name -> (file, make it smaller?)
FONTS = {
    "fluidr3": (SF2 / "FluidR3_GM.sf2", True),
    "gmbank": (SF2 / "sf_GMbank.sf2", True),
    "opl3": (SF2 / "OPL-3_FM_128M.sf2", True),
    "timgm6mb": (SF2 / "TimGM6mb.sf2", False),
}
# name -> (file, bank, programs that hold kits)
FONT_KITS = {
    "fluidr3": (SF2 / "FluidR3_GM.sf2", 128, (0, 8, 16, 24, 25, 32, 40)),
    "gmbank": (SF2 / "sf_GMbank.sf2", 128, (0, 8, 16, 24, 25, 32, 40)),
    "opl3": (SF2 / "OPL-3_FM_128M.sf2", 128, (0,)),
    "pearl": (SF2 / "Black_Pearl_4_LV2.sf2", 0, (0,)),
    "zeppelin": (SF2 / "Red_Zeppelin_4_LV2.sf2", 0, (0,)),
    "timgm6mb": (SF2 / "TimGM6mb.sf2", 128, (0, 32)),
}
KEYS = (35, 36, 37, 38, 39, 40, 41, 42, 43, 44, 45, 46, 47, 48, 49, 50, 51, 53, 54, 55, 56, 57,
        59, 60, 61, 62, 63, 64, 65, 66, 67, 69, 70, 73, 75, 76, 81, 82)  # fmt: skip
LAYERS = (0.45, 0.95)
LONG_KEYS = frozenset({49, 51, 53, 55, 57, 59, 46, 81})
# Names of drums in kits -> key; the first that matches counts.
NAMES = (
    (r"side ?stick|stick|rim", 37), (r"bass ?drum|kick|\bbd|thump|djembe\d bass", 36),
    (r"clap", 39), (r"brush", 38), (r"snare|\bsn|slap", 38), (r"pedal|pd\b|foot", 44),
    (r"hat.*(semi|op)|open.*hat|hh.*o|oh\b", 46), (r"hat|hh", 42), (r"ride.*bell|\bbell|cup", 53),
    (r"ride", 51), (r"crash", 49), (r"splash", 55), (r"china", 52), (r"cymbal", 57),
    (r"(low|floor).*tom|tom.*(low|floor|3|4)", 43), (r"(mid|middle).*tom|tom.*(mid|2)", 47),
    (r"tom", 50), (r"tamb", 54), (r"cow", 56), (r"shak|marac|cabas", 70), (r"clave|wood", 75),
    (r"bongo.*lo", 61), (r"bongo", 60), (r"conga.*(lo|2)", 64), (r"conga|tone", 63),
    (r"snap", 37), (r"click", 76), (r"dunun.*head|sangban.*head|kenkeni.*head", 64),
)  # fmt: skip

logger = logging.getLogger(__name__)


def collect_fonts(folder: Path) -> list[str]:
    """Copy or compress every soundfont that is installed; return their names."""
    folder.mkdir(parents=True, exist_ok=True)
    found = []
    for name, (path, compressed) in FONTS.items():
        if not path.exists():
            logger.warning("%s is not installed; left out", path)
            continue
        target = folder / f"{name}{'.sf3' if compressed else '.sf2'}"
        if not target.exists():
            if compressed:
                reduce_font(path, target)
            else:
                shutil.copyfile(path, target)
        found.append(name)
    return found


def collect_kits(folder: Path) -> list[str]:
    """Make a stroke file of every installed kit; return their names."""
    folder.mkdir(parents=True, exist_ok=True)
    found = []
    for name, (path, bank, programs) in FONT_KITS.items():
        for program in programs if path.exists() else ():
            strokes = _strokes_of_font(path, bank, program)
            if strokes:
                write_kit(folder / f"{name}-{program}.npz", strokes)
                found.append(f"{name}-{program}")
    for path in sorted(HYDROGEN.glob("*/drumkit.xml")):
        strokes = _strokes_of_hydrogen(path)
        if {36, 38} <= set(strokes) or len(strokes) >= 5:
            name = re.sub(r"\W+", "-", path.parent.name).strip("-").lower()
            write_kit(folder / f"{name}.npz", strokes)
            found.append(name)
    return found


def _strokes_of_font(path: Path, bank: int, program: int) -> dict[int, list[np.ndarray]]:
    """Strike every drum of a font's kit in every layer."""
    from tinysoundfont import _tinysoundfont

    font = _tinysoundfont.SoundFont(str(path))
    font.set_output(_tinysoundfont.OutputMode.Mono, 2 * KIT_RATE_HZ, 0.0)
    if font.get_preset_index(bank, program) < 0:
        return {}
    strokes: dict[int, list[np.ndarray]] = {}
    # Hand percussion is the same in all kits of a font: the first keeps it.
    for key in KEYS if program == 0 else [key for key in KEYS if key < 54]:
        layers = []
        for loud in LAYERS:
            font.reset()
            font.channel_set_bank(0, bank)
            font.channel_set_preset_number(0, program, bank == 128)
            font.channel_note_on(0, key, loud)
            sound = np.zeros(4 * KIT_RATE_HZ, dtype=np.float32)
            font.render(memoryview(sound).cast("B"), False)
            layers.append(_trimmed(sound, 2 * KIT_RATE_HZ, key))
        if all(layer.size > 200 for layer in layers):
            strokes[key] = layers
    return _leveled(strokes)


def _strokes_of_hydrogen(path: Path) -> dict[int, list[np.ndarray]]:
    """Read the drums of a kit whose names say what they are."""
    import soundfile

    strokes: dict[int, list[np.ndarray]] = {}
    for element in ElementTree.parse(path).getroot().iter():
        if element.tag.rsplit("}")[-1] != "instrument":
            continue
        fields = {child.tag.rsplit("}")[-1]: child.text or "" for child in element}
        name = fields.get("name", "").lower()
        key = next((key for pattern, key in NAMES if re.search(pattern, name)), None)
        files = [c.text for c in element.iter() if c.tag.rsplit("}")[-1] == "filename" and c.text]
        if key is None or not files or key in strokes:
            continue
        chosen = [files[len(files) // 3], files[-1]] if len(files) > 1 else files
        layers = []
        for file in chosen:
            try:
                sound, rate = soundfile.read(path.parent / file, dtype="float32", always_2d=True)
            except (OSError, RuntimeError) as exc:
                logger.warning("%s: left out (%s)", file, exc)
                continue
            layers.append(_trimmed(sound.mean(axis=1), rate, key))
        if layers and all(layer.size > 200 for layer in layers):
            strokes[key] = layers
    return _leveled(strokes)


def _trimmed(sound: np.ndarray, rate_hz: int, key: int) -> np.ndarray:
    """Cut silence before and after, bring to the kit rate, fade the end."""
    import soxr

    sound = soxr.resample(sound, rate_hz, KIT_RATE_HZ)
    peak = np.abs(sound).max(initial=0)
    if peak < 1e-4:
        return np.zeros(0, dtype=np.float32)
    first = int(np.argmax(np.abs(sound) > 0.06 * peak))
    sound = sound[max(0, first - 22) :]
    longest = int((1.4 if key in LONG_KEYS else 0.5) * KIT_RATE_HZ)
    power = np.convolve(sound[:longest] ** 2, np.ones(441) / 441, mode="same")
    heard = np.flatnonzero(power > 1e-5 * power.max())
    sound = sound[: min(longest, int(heard[-1]) + 441)].copy()
    fade = min(sound.size, 1000)
    sound[-fade:] *= np.linspace(1, 0, fade)
    return sound.astype(np.float32)


def _leveled(strokes: dict[int, list[np.ndarray]]) -> dict[int, list[np.ndarray]]:
    """Scale layers of a drum alike to a peak of 1; the player sets how loud it is."""
    return {
        key: [layer / max(np.abs(layer).max(), 1e-6) * 0.95 for layer in layers]
        for key, layers in strokes.items()
    }
