"""The only place that chains the rooms for one song, from its file to the corrected map.

`analyse` turns a song file into an `Analysis`: what was heard, and the same
after a person's corrections.  Corrections never decode or track again: sections
and phrases are found anew from the beat-wise evidence that is kept with the map.
"""

from __future__ import annotations

import functools
import json
import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from phrasefit import serial
from phrasefit.corrections import UNTOUCHED
from phrasefit.corrections.document import correction_document, read_correction
from phrasefit.errors import NoPulseError, PhrasefitError
from phrasefit.fields import Fields
from phrasefit.model import Audio, BarMap, Correction, SongInfo

if TYPE_CHECKING:
    import numpy as np

    from phrasefit.form.evidence import BeatEvidence
    from phrasefit.store import Store

# Raise it when code alters what is heard: old entries are then ignored.  The weights of
# the models speak for themselves, see `analysis_version`.
ANALYSIS_VERSION = 12

HAND_MADE = "h"  # in the version of analyses by the hand-made model
WEIGHTS = (".npz", ".json")  # endings of the files that hold them

Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Analysis:
    """A song as heard (`found`), as corrected (`bar_map`), and what both rest on."""

    info: SongInfo
    found: BarMap
    evidence: BeatEvidence
    bar_map: BarMap
    correction: Correction = UNTOUCHED


def analyse(
    path: Path | str,
    *,
    store: Store | None = None,
    hand_made: bool = False,
    anyway: bool = False,
    progress: Progress | None = None,
) -> Analysis:
    """Listen to a song, or recall what was heard before, with its corrections.

    Parameters
    ----------
    path : Path or str
        The song file.
    store : Store, optional
        The cache to ask and to fill; None analyses afresh and keeps nothing.
    hand_made : bool
        Use the hand-made observation model instead of the learned one.
    anyway : bool
        Make a map also of what is called speech or noise; it is kept like any other.
    progress : callable(share, text), optional
        Told how far the work has come.

    Returns
    -------
    Analysis

    Raises
    ------
    AudioError
        If the file cannot be read.
    NoPulseError
        If it is silent or, without `anyway`, called speech, noise or the like.
    """
    from phrasefit.audio.decode import check_readable

    path = Path(path)
    check_readable(path)
    version = analysis_version(hand_made=hand_made)
    known = store.hash_of(path) if store else None
    if store and known and (text := store.get_analysis(known, version)):
        kept = recalled(text, None)
        if Path(kept.info.path).resolve() == path.resolve():
            return with_kept_correction(kept, store)
        # Another file with the same sound was read since, and may have another title.
    recall = None if store is None else lambda key: store.get_analysis(key, version)
    heard = listen(path, recall=recall, hand_made=hand_made, anyway=anyway, progress=progress)
    if store:
        content_hash = heard.info.content_hash
        keep_analysis(store, content_hash, version, document_of(heard), path=path)
        heard = with_kept_correction(heard, store)
    return heard


def keep_analysis(
    store: Store, content_hash: str, version: str, document: str, *, path: Path
) -> None:
    """Keep what was heard of a song in place of what older versions heard.

    A shift of the ones that a person gave was counted from the ones that were heard then: it
    is counted from those heard now, so that they stay where the person has put them.

    Raises
    ------
    CacheError
        If the store cannot be written.
    OSError
        If the file at `path` is no longer there.
    """
    others = store.other_analyses(content_hash, version)
    older = {v: text for v, text in others.items() if _is_hand_made(v) == _is_hand_made(version)}
    store.put_analysis(content_hash, version, document, path=path)
    kept = store.get_correction(content_hash) if older and not _is_hand_made(version) else None
    if kept and kept.get("shift_one_beats") and not kept.get("ones_at_s"):
        before = next(iter(older.values()))
        store.edit_correction(
            content_hash, lambda kept: _with_ones_kept(kept, before, document) if kept else None
        )
    for superseded in older:
        store.delete_analysis(content_hash, superseded)


def _with_ones_kept(kept: dict[str, Any], before: str, now: str) -> dict[str, Any]:
    """Give the correction that puts the ones of `now` where `kept` has put those of `before`."""
    from phrasefit.corrections.combine import shifted_anew

    try:
        shown = recalled(before, kept).bar_map
        correction = shifted_anew(_stored_correction(kept), shown, recalled(now, None).found)
    except (PhrasefitError, KeyError, ValueError):
        return kept  # what no longer fits is told where it is applied
    return correction_document(correction)


def with_kept_correction(heard: Analysis, store: Store) -> Analysis:
    """Apply what a person corrected, as `store` keeps it.

    A correction that no longer fits the song is set aside in the store, with a note
    there; the song is then as it was heard.
    """
    content_hash = heard.info.content_hash
    kept = store.get_correction(content_hash)
    if kept is None:
        return heard
    try:
        return corrected(heard, _stored_correction(kept))
    except PhrasefitError as exc:
        store.set_aside_correction(content_hash, str(exc))
        store.notes.append(
            f"{heard.info.path}: the correction kept for it no longer fits ({exc}); it was set"
            " aside and the song is shown as it was heard, see `phrasefit store set-aside`"
        )
        return heard


def analysis_version(*, hand_made: bool = False) -> str:
    """Name what the cache keeps analyses under, beside the hash of the sound."""
    return f"{ANALYSIS_VERSION}{HAND_MADE if hand_made else ''}-{_fingerprint_of_weights():08x}"


def _is_hand_made(version: str) -> bool:
    return version.partition("-")[0].endswith(HAND_MADE)


@functools.cache
def _fingerprint_of_weights() -> int:
    """Check sum of all that was learned: other weights hear other things."""
    folders = [resources.files(f"phrasefit.{room}") / "weights" for room in ("meter", "form")]
    files = [entry for folder in folders for entry in folder.iterdir()]
    learned = sorted((file for file in files if file.name.endswith(WEIGHTS)), key=lambda f: f.name)
    return functools.reduce(lambda crc, file: zlib.crc32(file.read_bytes(), crc), learned, 0)


def listen(
    path: Path,
    *,
    recall: Callable[[str], str | None] | None = None,
    hand_made: bool = False,
    anyway: bool = False,
    progress: Progress | None = None,
) -> Analysis:
    """Read a song file and find out all there is to know of it.

    `recall` may know the document of a sound by its hash: then the file was only
    renamed, moved or tagged anew, and nothing needs to be tracked.
    """
    from phrasefit.audio.decode import decode

    report = progress or (lambda share, text: None)
    report(0.0, "reading the song")
    audio = decode(path)
    text = recall(audio.info.content_hash) if recall else None
    if text:
        heard = recalled(text, None)
    else:
        heard = _track(audio, hand_made=hand_made, anyway=anyway, report=report)
    named = replace(
        heard.found,
        title=audio.info.title or path.stem,
        artist=audio.info.artist,
        notes=tuple(dict.fromkeys((*audio.info.notes, *heard.found.notes))),
    )
    report(1.0, "done")
    return replace(heard, info=audio.info, found=named, bar_map=named)


def _track(audio: Audio, *, hand_made: bool, anyway: bool, report: Progress) -> Analysis:
    from phrasefit.audio.features import opens_s
    from phrasefit.form import add_form, weigh_ones

    bar_map, evidence = _beats(audio, hand_made=hand_made, anyway=anyway, report=report)
    report(0.8, "finding phrases")
    bar_map = add_form(weigh_ones(bar_map, evidence, opens_s(audio)), evidence)
    return Analysis(info=audio.info, found=bar_map, evidence=evidence, bar_map=bar_map)


def _beats(
    audio: Audio, *, hand_made: bool, anyway: bool, report: Progress
) -> tuple[BarMap, BeatEvidence]:
    """Find beats and bars, and what form is found from; the features are let go then."""
    from phrasefit.audio.features import extract_features, first_sample
    from phrasefit.form.evidence import beat_evidence
    from phrasefit.meter import track

    report(0.2, "listening")
    features = extract_features(audio, first_sample(audio.samples))
    report(0.4, "finding beats and bars")
    try:
        model = observation_model(hand_made=hand_made)
        bar_map = track(audio, features, model=model, anyway=anyway)
    except NoPulseError as exc:
        raise NoPulseError(exc.what, where=audio.info.path, reason=exc.reason) from exc
    return bar_map, beat_evidence(features, bar_map.beat_times_s)


def observation_model(*, hand_made: bool) -> Any:
    """Give the observation model to listen with; None is the hand-made one."""
    if hand_made:
        return None
    from phrasefit.meter.learned import LearnedModel

    return LearnedModel()


def document_of(analysis: Analysis) -> str:
    """Write what was heard, without corrections, as the text that the cache keeps."""
    return json.dumps(
        {
            "info": serial.encode(analysis.info),
            "map": serial.encode(analysis.found),
            "evidence": analysis.evidence.to_dict(),
        }
    )


def recalled(text: str, correction: dict[str, Any] | None) -> Analysis:
    """Read what `document_of` wrote, and apply what a person corrected."""
    from phrasefit.form.evidence import BeatEvidence

    document = json.loads(text)
    bar_map = serial.decode(BarMap, document["map"])
    analysis = Analysis(
        info=serial.decode(SongInfo, document["info"]),
        found=bar_map,
        evidence=BeatEvidence.from_dict(document["evidence"]),
        bar_map=bar_map,
    )
    return corrected(analysis, _stored_correction(correction)) if correction else analysis


def _stored_correction(document: dict[str, Any]) -> Correction:
    return read_correction(Fields("stored correction", document))


def corrected(analysis: Analysis, correction: Correction) -> Analysis:
    """Apply `correction` to what was found, in place of any earlier one.

    Raises
    ------
    MapError
        If the correction does not go with the song; says what to do.
    """
    from phrasefit.corrections.beats import apply_correction
    from phrasefit.corrections.combine import settled
    from phrasefit.corrections.names import apply_names
    from phrasefit.corrections.sections import apply_section_marks
    from phrasefit.form import add_form
    from phrasefit.form.evidence import resample_evidence

    if correction == UNTOUCHED:
        return replace(analysis, bar_map=analysis.found, correction=UNTOUCHED)
    found = analysis.found
    correction = settled(correction, found)
    changed = apply_correction(found, correction)
    evidence = resample_evidence(analysis.evidence, found.beat_times_s, changed.beat_times_s)
    formed = found if changed is found else add_form(changed, evidence)
    formed = apply_section_marks(formed, correction, evidence)
    return replace(analysis, bar_map=apply_names(formed, correction), correction=correction)


def added(analysis: Analysis, old: Correction, change: Correction) -> Analysis:
    """Apply `old` and then `change`, made while looking at the map that `old` leads to.

    Names that `change` makes void are no longer in the correction that results.

    Raises
    ------
    MapError
        If the corrections do not go with the song; says what to do.
    """
    from phrasefit.corrections.combine import merged
    from phrasefit.corrections.names import names_that_hold

    result = corrected(analysis, merged(old, change, analysis.found))
    if not change.section_names:
        return result
    names = names_that_hold(result.bar_map, result.correction.section_names)
    return replace(result, correction=replace(result.correction, section_names=names))


def loudness_of_counts(analysis: Analysis, times_s: np.ndarray) -> np.ndarray:
    """Tell how loud each count is, from what is kept of the song's beats.

    Parameters
    ----------
    analysis : Analysis
    times_s : np.ndarray [shape=(n + 1,), seconds, strictly increasing]
        The counts, and the end of the last, as in ``CountGrid.times_s``.

    Returns
    -------
    np.ndarray [shape=(n,), dB]
    """
    from phrasefit.form.evidence import resample_evidence

    beats_s = analysis.found.beat_times_s
    return resample_evidence(analysis.evidence, beats_s, times_s[:-1]).loudness_db


def correct(analysis: Analysis, change: Correction, *, store: Store | None) -> Analysis:
    """Add `change` to the song's corrections and keep the sum in `store`."""
    result = analysis

    def add_to(kept: dict[str, Any] | None) -> dict[str, Any]:
        """Add `change` to what is kept now: another program may have changed it since."""
        nonlocal result
        old = _stored_correction(kept) if kept else UNTOUCHED
        result = added(analysis, old, change)
        return correction_document(result.correction)

    if store:
        store.edit_correction(analysis.info.content_hash, add_to)
    else:
        add_to(correction_document(analysis.correction))
    return result


def forget(analysis: Analysis, *, store: Store | None) -> Analysis:
    """Remove all corrections of a song, also from `store`."""
    if store:
        store.delete_correction(analysis.info.content_hash)
    return corrected(analysis, UNTOUCHED)
