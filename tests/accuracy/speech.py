"""How often speech and noise get a map, and how often songs get none.

    python tests/accuracy/speech.py [FOLDER...] [--clips N] [--seed N]

Makes N clips of 15 to 90 s with eSpeak NG (many voices, languages and speeds; with pauses,
in rooms, two at once, crowds, verses, with noise behind) and from noise (of all colors, rain,
wind, a street), all without a pulse, and tracks them with both models.  Folders hold
songs.  Printed is how many were refused, got a map with the loud doubt and one without, and
the least and the most sure maps: look at them again after each training.
"""

from __future__ import annotations

import argparse
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy.signal import fftconvolve

from phrasefit.audio import SAMPLE_RATE_HZ
from phrasefit.audio.decode import decode
from phrasefit.audio.features import extract_features, first_sample
from phrasefit.errors import NoPulseError
from phrasefit.meter import track
from phrasefit.meter.handmade import HandmadeModel
from phrasefit.meter.learned import LearnedModel
from phrasefit.model import STEADY_FROM, Audio, SongInfo

SUFFIXES = (".wav", ".flac", ".ogg", ".mp3")
VARIANTS = ("", "+f2", "+m3", "+f4", "+m7", "+croak", "+whisper")
PROSE = {
    "en": "The hall was open from seven, and people came in slowly, shaking the rain from their"
    " coats. Somebody had left a crate of apples near the door. A tall woman asked whether the"
    " lesson would start on time, because her bus leaves at ten past nine. Nobody knew. We moved"
    " the benches, swept the floor, and looked for the cable of the loudspeaker, which was found"
    " at last under the stage, together with a glove and three old programmes.",
    "de": "Am Morgen war der Markt noch leer, nur zwei Leute bauten ihre Stände auf und redeten"
    " über das Wetter. Ein Junge trug Kisten mit Birnen, die ihm fast aus den Armen fielen. Als"
    " die Glocke schlug, kam ein Wagen um die Ecke und hielt vor dem Brunnen. Niemand stieg aus.",
    "fr": "Le matin, la boulangerie ouvre avant tout le monde, et l'odeur du pain descend"
    " jusqu'au port. Un marin attend devant la porte, les mains dans les poches, sans rien dire."
    " Il a perdu son chapeau pendant la tempête, et personne ne lui en vend avant midi.",
    "es": "La estación estaba casi vacía cuando llegamos. Un perro dormía junto a la máquina de"
    " billetes y el reloj marcaba una hora imposible. Mi tía preguntó si alguien había visto el"
    " tren, pero el hombre de la ventanilla siguió leyendo el periódico.",
    "sv": "Det var en lång vinter det året, och snön låg kvar på taken ända till maj. Vi gick"
    " till skolan i mörkret och hem igen i mörkret, och på vägen räknade vi lyktorna.",
    "ru": "Утром в деревне было тихо, только собака лаяла за рекой. Почтальон оставил велосипед"
    " у забора и долго искал письмо в своей сумке. Никто его не торопил.",
    "tr": "Sabah erkenden pazara gittik, ama daha kimse yoktu. İki satıcı tezgahlarını kuruyor,"
    " havadan sudan konuşuyordu. Bir çocuk elma kasalarını taşıyor, az kalsın düşürecekti.",
}
VERSE = {
    "en": "The river carries down the night, a boat without a sail or light. The miller hears it"
    " passing by, and lifts a candle to the sky. And what it brought and what it took, he never"
    " wrote in any book. The willow bends above the stream, and all the village goes to dream.",
    "de": "Es geht ein Wind durchs leere Feld, er weiß nichts von der andern Welt. Er nimmt das"
    " Laub, er nimmt den Sand, und trägt ihn weiter übers Land. Und wer am Abend draußen steht,"
    " der hört, wie er vorüber geht.",
}


def said(text: str, voice: str, words_a_minute: int) -> np.ndarray:
    """Let eSpeak NG read a text, at our rate (which is also its own)."""
    command = ["espeak-ng", "--stdout", "-v", voice, "-s", str(words_a_minute), text]
    wav = subprocess.run(command, capture_output=True, check=True).stdout
    body = wav[wav.index(b"data") + 8 :]
    return np.frombuffer(body[: len(body) // 2 * 2], dtype="<i2") / 32768.0


def one_voice(rng: np.random.Generator, texts: dict[str, str], seconds: float) -> np.ndarray:
    """Somebody reads, again and again with a breath between, until the time is over."""
    language = str(rng.choice(list(texts)))
    words = texts[language].split()
    first = int(rng.integers(len(words) // 2)) if texts is PROSE else 0
    text = " ".join(words[first:] + words[:first])
    once = said(text, language + str(rng.choice(VARIANTS)), int(rng.integers(95, 255)))
    parts, wanted = [], int(seconds * SAMPLE_RATE_HZ)
    while sum(map(len, parts)) < wanted:
        parts += [once, np.zeros(int(SAMPLE_RATE_HZ * rng.uniform(0.3, 2.5)))]
    return np.concatenate(parts)[:wanted]


def in_room(rng: np.random.Generator, samples: np.ndarray) -> np.ndarray:
    """Add the echo of a hall."""
    at_s = np.arange(SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ
    echo = rng.standard_normal(at_s.size) * np.exp(-6.9 * at_s / rng.uniform(0.3, 1.5))
    wet = fftconvolve(samples, echo)[: samples.size]
    return samples + rng.uniform(0.2, 1.0) * wet * samples.std() / wet.std()


def noise(rng: np.random.Generator, seconds: float, slope: float) -> np.ndarray:
    """Noise whose power falls with frequency to the power of `slope` (0 white, 1 pink)."""
    n = int(seconds * SAMPLE_RATE_HZ)
    spectrum = np.fft.rfft(rng.standard_normal(n))
    low = 20 / SAMPLE_RATE_HZ
    made = np.fft.irfft(spectrum * np.maximum(np.fft.rfftfreq(n), low) ** (-slope / 2), n)
    return made / made.std()


def drops(rng: np.random.Generator, seconds: float, a_second: float) -> np.ndarray:
    """Clicks at random times, of all strengths."""
    n = int(seconds * SAMPLE_RATE_HZ)
    hits = np.zeros(n)
    n_hits = rng.poisson(a_second * seconds)
    hits[rng.integers(0, n, n_hits)] = rng.lognormal(0, 1, n_hits)
    at_s = np.arange(4096) / SAMPLE_RATE_HZ
    click = rng.standard_normal(at_s.size) * np.exp(-at_s / rng.choice([0.002, 0.006, 0.02, 0.05]))
    return fftconvolve(hits, click)[:n]


def clips(n: int, seed: int) -> Iterator[tuple[str, np.ndarray]]:
    """Make `n` clips, all kinds by turns."""
    kinds = ("speech", "room", "two", "behind noise", "verse", "crowd", "noise", "rain", "street")
    for number in range(n):
        rng = np.random.default_rng([seed, number])
        kind, seconds = kinds[number % len(kinds)], rng.uniform(15, 90)
        if kind == "noise":
            samples = noise(rng, seconds, rng.uniform(-1, 2))
        elif kind == "rain":
            samples = drops(rng, seconds, np.exp(rng.uniform(0, 6)))
        else:
            texts = VERSE if kind == "verse" else PROSE
            n_voices = {"two": 2, "crowd": 7, "street": 3}.get(kind, 1)
            samples = sum(
                rng.uniform(0.4, 1) * one_voice(rng, texts, seconds) for _ in range(n_voices)
            )
            if kind in ("room", "crowd", "street"):
                samples = in_room(rng, samples)
            if kind in ("behind noise", "street"):
                samples = samples / samples.std() + rng.uniform(0.1, 1) * noise(rng, seconds, 1.5)
            if kind == "street":
                samples += 0.5 * drops(rng, seconds, 2)
        yield f"{kind} {number}", 0.5 * samples / np.abs(samples).max()


def songs(folders: list[Path]) -> Iterator[tuple[str, np.ndarray]]:
    """Read all songs below the folders."""
    for folder in folders:
        for path in sorted(p for p in folder.rglob("*") if p.suffix in SUFFIXES):
            yield path.stem, decode(path).samples


def report(what: str, sounds: Iterator[tuple[str, np.ndarray]]) -> None:
    """Track all sounds with both models and print how many got which answer."""
    models = (LearnedModel(), HandmadeModel())
    pulses: dict[str, list[tuple[float | None, str]]] = {model.name: [] for model in models}
    for name, samples in sounds:
        audio = Audio(samples=samples, sample_rate_hz=SAMPLE_RATE_HZ, info=SongInfo())
        features = extract_features(audio, first_sample(audio.samples))
        for model in models:
            try:
                pulse = track(audio, features, model=model).confidence.pulse
            except NoPulseError:
                pulse = None
            pulses[model.name].append((pulse, name))
    for model_name, found in pulses.items():
        maps = sorted(row for row in found if row[0] is not None)
        doubted = sum(pulse < STEADY_FROM for pulse, _ in maps)
        edges = ", ".join(f"{pulse:.2f} {name}" for pulse, name in [*maps[:3], *maps[-6:]])
        print(
            f"{what}, {model_name}: of {len(found)} {len(found) - len(maps)} refused,"
            f" {doubted} with the loud doubt, {len(maps) - doubted} without; {edges}"
        )


def main() -> None:
    """Measure clips, then songs."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--clips", type=int, default=270)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    report("no pulse", clips(arguments.clips, arguments.seed))
    if arguments.folders:
        report("songs", songs(arguments.folders))


if __name__ == "__main__":
    main()
