"""Sample songs that are known without being listened to again: real analyses, made once.

Hearing one takes seconds: all processes of a test run share what one of them has heard.
"""

from __future__ import annotations

import atexit
import functools
import json
import os
import shutil
import tempfile
from pathlib import Path

import phrasefit
from phrasefit import pipeline
from phrasefit.desk.places import choose_folder
from phrasefit.files import write_atomic
from phrasefit.store import Store

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_audio"
RUN = os.environ.get("PYTEST_XDIST_TESTRUNUID") or str(os.getpid())
SHARED = Path(tempfile.gettempdir()) / f"phrasefit-heard-{RUN}"


@functools.cache
def heard(name: str) -> tuple[str, str]:
    """Listen to a sample song; gives its content hash and the document that is kept."""
    kept = SHARED / f"{name}.json"
    try:  # the process that heard it may end, and clean up, before this one
        document = kept.read_text(encoding="utf-8")
    except FileNotFoundError:
        document = pipeline.document_of(phrasefit.analyse(SAMPLES / f"{name}.ogg"))
        SHARED.mkdir(mode=0o700, exist_ok=True)
        atexit.register(shutil.rmtree, SHARED, ignore_errors=True)
        write_atomic(kept, document, force=True)
    return json.loads(document)["info"]["content_hash"], document


def remember(name: str) -> str:
    """Let this program know a sample song; gives its content hash."""
    content_hash, document = heard(name)
    with Store() as store:
        store.put_analysis(
            content_hash, pipeline.analysis_version(), document, path=SAMPLES / f"{name}.ogg"
        )
    return content_hash


def fill(folder: Path, *names: str, music: Path | None = None) -> list[str]:
    """Let the data folder know these songs, as copies that may be played; gives their hashes."""
    music = music or folder / "music"
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
