"""Sample songs that are known without being listened to again: real analyses, made once."""

from __future__ import annotations

import functools
import json
import shutil
from pathlib import Path

import phrasefit
from phrasefit import pipeline
from phrasefit.desk.places import choose_folder
from phrasefit.store import Store

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_audio"


@functools.cache
def heard(name: str) -> tuple[str, str]:
    """Listen to a sample song; gives its content hash and the document that is kept."""
    analysis = phrasefit.analyse(SAMPLES / f"{name}.ogg")
    return analysis.info.content_hash, pipeline.document_of(analysis)


def remember(name: str) -> str:
    """Let this program know a sample song; gives its content hash."""
    content_hash, document = heard(name)
    with Store() as store:
        store.put_analysis(
            content_hash, pipeline.analysis_version(), document, path=SAMPLES / f"{name}.ogg"
        )
    return content_hash


def fill(folder: Path, *names: str) -> list[str]:
    """Let the data folder know these songs, as copies that may be played; gives their hashes."""
    music = folder / "music"
    music.mkdir(parents=True, exist_ok=True)
    hashes = []
    with Store(folder / "phrasefit.sqlite3") as store:
        choose_folder(store, music)
        for name in names:
            content_hash, document = heard(name)
            song = Path(shutil.copy(SAMPLES / f"{name}.ogg", music))
            known = json.loads(document)
            known["info"]["path"] = str(song)
            store.put_analysis(
                content_hash, pipeline.analysis_version(), json.dumps(known), path=song
            )
            hashes.append(content_hash)
    return hashes
