"""Sounds nobody can tap along to: speech, crowds, noise, weather, machines, free playing.

They teach what is no music with a beat (`phrasefit.training.pulse`).  The clips that judge
it are made elsewhere, with other texts in other languages.

Needs eSpeak NG for the voices.
"""

from __future__ import annotations

import shutil
import subprocess

import numpy as np

from phrasefit.audio import SAMPLE_RATE_HZ
from phrasefit.errors import MissingExtraError
from phrasefit.sounds.dsp import add_at

SHORTEST_S, LONGEST_S = 10.0, 90.0
KINDS = (
    "speech", "hall", "dialogue", "radio", "list", "babble", "applause", "noise", "weather",
    "machine", "free",
)  # fmt: skip
VOICES = ("", "+f1", "+f3", "+m1", "+m5", "+whisper")
TEXTS = {
    "en": "Before we begin, two short notices. The kitchen closes early tonight, so please bring"
    " your cups back by nine. And whoever left a green umbrella beside the piano last week, it is"
    " still there, waiting. Now, has everybody found a place?",
    "it": "Ieri il cielo era basso e grigio, e nessuno aveva voglia di uscire. Mia sorella leggeva"
    " vicino alla finestra, il gatto dormiva sopra il giornale, e dalla strada saliva il rumore"
    " di un carro che non arrivava mai.",
    "nl": "De winkel op de hoek verkoopt van alles: touw, zeep, oude klokken en soms verse eieren."
    " De eigenaar kent iedereen bij naam, maar zegt zelf bijna nooit iets.",
    "pl": "Na dworcu było zimno, więc czekaliśmy w małej kawiarni za rogiem. Kelner przyniósł"
    " herbatę i powiedział, że pociąg spóźni się co najmniej godzinę.",
    "pt": "O rio desce devagar entre as pedras, e as crianças atiram folhas para ver qual chega"
    " primeiro à ponte. Depois correm todas para casa, molhadas e contentes.",
}
LISTS = {
    "en": "Seven. Nineteen. Forty-two. Three. Eighty. Eleven. Twenty-six. Five. Thirty. Nine.",
    "it": "Pane, latte, uova, sale, riso, mele, burro, farina, olio, vino, noci, miele.",
    "nl": "Maandag, dinsdag, woensdag, donderdag, vrijdag, zaterdag, zondag.",
}


def make_clip(seed: int) -> np.ndarray:
    """Make one clip [shape=(n,), float32 mono at `SAMPLE_RATE_HZ`, peak 0.5]; kinds by turns."""
    rng = np.random.default_rng([77, seed])
    kind = KINDS[seed % len(KINDS)]
    seconds = float(np.exp(rng.uniform(np.log(SHORTEST_S), np.log(LONGEST_S))))
    sound = _MAKERS[kind](rng, round(seconds * SAMPLE_RATE_HZ))
    if rng.random() < 0.3:
        sound = sound / (sound.std() + 1e-9) + rng.uniform(0.02, 0.4) * _noise(rng, sound.size, 1.0)
    return (0.5 * sound / (np.abs(sound).max() + 1e-9)).astype(np.float32)


def _speech(rng: np.random.Generator, n: int, texts: dict[str, str] = TEXTS) -> np.ndarray:
    """One voice, the text again and again, with pauses."""
    language = str(rng.choice(list(texts)))
    once = _said(texts[language], language + str(rng.choice(VOICES)), int(rng.integers(100, 240)))
    parts = [np.zeros(0)]
    while sum(map(len, parts)) < n:
        parts += [once, np.zeros(int(SAMPLE_RATE_HZ * rng.uniform(0.2, 2.0)))]
    return np.concatenate(parts)[:n]


def _said(text: str, voice: str, words_a_minute: int) -> np.ndarray:
    """Let eSpeak NG read a text; its rate is ours."""
    program = shutil.which("espeak-ng")
    if program is None:
        raise MissingExtraError("espeak-ng is not installed; install eSpeak NG to make speech")
    command = [program, "--stdout", "-v", voice, "-s", str(words_a_minute), text]
    wav = subprocess.run(command, capture_output=True, check=True).stdout
    body = wav[wav.index(b"data") + 8 :]  # sizes in a streamed header mean nothing
    return np.frombuffer(body[: len(body) // 2 * 2], dtype="<i2") / 32768.0


def _list(rng: np.random.Generator, n: int) -> np.ndarray:
    return _speech(rng, n, LISTS)


def _together(rng: np.random.Generator, n: int, n_voices: int) -> np.ndarray:
    return sum(rng.uniform(0.3, 1.0) * _speech(rng, n) for _ in range(n_voices))


def _dialogue(rng: np.random.Generator, n: int) -> np.ndarray:
    return _together(rng, n, 2)


def _hall(rng: np.random.Generator, n: int) -> np.ndarray:
    return _echoed(rng, _speech(rng, n))


def _babble(rng: np.random.Generator, n: int) -> np.ndarray:
    return _echoed(rng, _together(rng, n, int(rng.integers(4, 9))))


def _echoed(rng: np.random.Generator, sound: np.ndarray) -> np.ndarray:
    from scipy.signal import fftconvolve

    at_s = np.arange(SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ
    tail = rng.standard_normal(at_s.size) * np.exp(-6.9 * at_s / rng.uniform(0.3, 2.0))
    wet = fftconvolve(sound, tail)[: sound.size]
    return sound + rng.uniform(0.2, 1.5) * wet * sound.std() / (wet.std() + 1e-9)


def _radio(rng: np.random.Generator, n: int) -> np.ndarray:
    """Speech through a narrow band, with hiss."""
    spectrum = np.fft.rfft(_speech(rng, n))
    hz = np.fft.rfftfreq(n, 1 / SAMPLE_RATE_HZ)
    spectrum[(hz < rng.uniform(200, 500)) | (hz > rng.uniform(2500, 4500))] = 0
    narrow = np.fft.irfft(spectrum, n)
    return narrow / (narrow.std() + 1e-9) + rng.uniform(0.02, 0.3) * _noise(rng, n, 0.0)


def _noise(rng: np.random.Generator, n: int, slope: float) -> np.ndarray:
    """Noise whose power falls with frequency to the power of `slope`, of unit variance."""
    spectrum = np.fft.rfft(rng.standard_normal(n))
    low = 30 / SAMPLE_RATE_HZ
    made = np.fft.irfft(spectrum * np.maximum(np.fft.rfftfreq(n), low) ** (-slope / 2), n)
    return made / made.std()


def _steady_noise(rng: np.random.Generator, n: int) -> np.ndarray:
    """Noise of any color, often swelling slowly."""
    knots = rng.uniform(0.1, 1.0, max(2, n // (SAMPLE_RATE_HZ * 4)))
    swell = np.interp(np.linspace(0, 1, n), np.linspace(0, 1, knots.size), knots)
    return _noise(rng, n, rng.uniform(-1, 2)) * (swell if rng.random() < 0.5 else 1.0)


def _hits(rng: np.random.Generator, n: int, a_second: float, decay_s: float) -> np.ndarray:
    """Short noises at random times, of all strengths."""
    from scipy.signal import fftconvolve

    strengths = np.zeros(n)
    n_hits = rng.poisson(a_second * n / SAMPLE_RATE_HZ) + 1
    strengths[rng.integers(0, n, n_hits)] = rng.lognormal(0, 0.8, n_hits)
    at_s = np.arange(int(6 * decay_s * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    return fftconvolve(strengths, rng.standard_normal(at_s.size) * np.exp(-at_s / decay_s))[:n]


def _weather(rng: np.random.Generator, n: int) -> np.ndarray:
    """Rain, hail or a fire, perhaps with wind."""
    drops = _hits(rng, n, np.exp(rng.uniform(0.5, 6.5)), float(rng.choice([0.003, 0.01, 0.04])))
    return drops / drops.std() + rng.uniform(0, 1) * _steady_noise(rng, n)


def _applause(rng: np.random.Generator, n: int) -> np.ndarray:
    """Many pairs of hands, each about even but none with the others, in a hall."""
    claps = np.zeros(n)
    for _ in range(int(rng.integers(5, 40))):
        step_s = rng.uniform(0.2, 0.4)
        at_s = np.cumsum(step_s * rng.lognormal(0, 0.12, int(n / SAMPLE_RATE_HZ / step_s)))
        at = (at_s * SAMPLE_RATE_HZ).astype(int)
        claps[at[at < n]] += rng.uniform(0.2, 1.0)
    from scipy.signal import fftconvolve

    at_s = np.arange(1200) / SAMPLE_RATE_HZ
    clap = rng.standard_normal(at_s.size) * np.exp(-at_s / 0.008)
    return _echoed(rng, fftconvolve(claps, clap)[:n])


def _machine(rng: np.random.Generator, n: int) -> np.ndarray:
    """A hum with overtones that wanders, rattling now and then."""
    wander = np.interp(np.arange(n), np.linspace(0, n, 12), rng.uniform(0.9, 1.1, 12))
    phase = 2 * np.pi * np.cumsum(rng.uniform(40, 150) * wander) / SAMPLE_RATE_HZ
    hum = sum(rng.uniform(0, 1) * np.sin(k * phase) / k for k in range(1, 12))
    rattle = _hits(rng, n, rng.uniform(0.3, 4), 0.03)
    return hum / hum.std() + rng.uniform(0, 1) * rattle / rattle.std() + 0.2 * _noise(rng, n, 1.0)


def _free(rng: np.random.Generator, n: int) -> np.ndarray:
    """Notes of plucked or blown instruments, held as long as they please the player."""
    sound, at_s = np.zeros(n), 0.0
    usual_s, spread = rng.uniform(0.15, 1.2), rng.uniform(0.4, 0.9)
    scale = np.array([0, 2, 3, 5, 7, 8, 10])
    plucked, pitch = rng.random() < 0.6, int(rng.integers(40, 70))
    while at_s < n / SAMPLE_RATE_HZ:
        length_s = usual_s * rng.lognormal(0, spread)
        for _ in range(int(rng.choice([1, 1, 2, 3]))):
            note = pitch + int(rng.choice(scale)) + 12 * int(rng.integers(0, 2))
            add_at(sound, _note(rng, note, length_s, plucked=plucked), at_s, SAMPLE_RATE_HZ)
        at_s += length_s
    return _echoed(rng, sound)


def _note(rng: np.random.Generator, pitch: int, length_s: float, *, plucked: bool) -> np.ndarray:
    at_s = np.arange(int((length_s + 0.4) * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    hz = 440 * 2 ** ((pitch - 69) / 12)
    tone = sum(np.sin(2 * np.pi * k * hz * at_s) / k**1.5 for k in range(1, 9) if k * hz < 10_000)
    fall = np.exp(-at_s / rng.uniform(0.2, 1.0)) if plucked else np.minimum(1, at_s / 0.06)
    release = np.clip((length_s + 0.4 - at_s) / 0.3, 0, 1)
    return rng.uniform(0.3, 1.0) * tone * fall * release


_MAKERS = {
    "speech": _speech, "hall": _hall, "dialogue": _dialogue, "radio": _radio, "list": _list,
    "babble": _babble, "applause": _applause, "noise": _steady_noise, "weather": _weather,
    "machine": _machine, "free": _free,
}  # fmt: skip
