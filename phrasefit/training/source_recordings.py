"""``python -m phrasefit.training.source_recordings FOLDER``: music in Debian packages, once.

Downloads packages whose copyright files give the music a free licence, and keeps their
recordings of more than 40 s (shorter ones are loops and sounds).  Nothing of it is shipped
or committed.  `PACKAGES` says who made the music and under which licence; where the
copyright file covers it by its general line only, makers are those that the files name.

Held out whole, makers and all, for judging: widelands-data, nexuiz-music, marsshooter-data,
unknown-horizons, openclonk-data, fillets-ng-data, pushover-data, warmux-data,
frozen-bubble-data.  Not used at all, because licence or maker is not clear, or because accuracy
is measured on them: drascula-music, davegnukem-data, lordsawar-data, freedink-data,
scummvm-data, gcompris-qt-data, performous, photofilmstrip, renpy-demo, asterisk-moh-opsound,
fretsonfire-songs-*, openttd-openmsx, and sdmusic of hedgewars-data.

Needs apt and dpkg-deb.
"""

from __future__ import annotations

import argparse
import logging
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

LEAST_S = 40.0
SUFFIXES = (".ogg", ".mp3", ".flac", ".opus", ".wav")
LEFT_OUT = ("sdmusic",)
BSD_SHOOTERS = dict.fromkeys(
    ("noiz2sa-data", "torus-trooper-data", "parsec47-data", "titanion-data", "mu-cade-data",
     "gunroar-data", "a7xpg-data", "tumiki-fighters-data", "rrootage-data"),
    "BSD-2; Kenta Cho",
)  # fmt: skip
PACKAGES: dict[str, str] = BSD_SHOOTERS | {
    "warzone2100-music": "GPL-2+, CC-BY-SA-3.0; LupusMechanicus, Severn",
    "naev-data": "GPL-3 or CC-BY-3.0, GPL-2+, CC-BY-SA-3.0; Whallon, Seguro, Askyel, Zeropage",
    "supertux-data": "GPL-2+; Moeckel, Lavallee, Zhaytee, Leutwyler, Treskalle, remaxim, Flan",
    "hedgewars-data": "GPL-2; HSR, Nilsson, Kraevskiy, yd",
    "blobwars-data": "CC-BY-SA-3.0, CC-BY-3.0; van Driel, Huijer, van Oirschot",
    "supertuxkart-data": "CC-BY-SA-3.0/4.0, GPL-3+; 0zone0ne, Leutwyler, Werner, DJHelium",
    "wesnoth-1.16-music": "GPL-2+; Westlund, Kaufman, Aubry-Carlson, Johnson, Reilly, Pinkham",
    "freedroidrpg-data": "GPL-2+; Picciani, stud, 4T Thieves, girix8",
    "singularity-music": "CC-BY-SA-3.0; McCracken",
    "tuxmath-data": "CC-BY-SA-3.0; Serberis and others",
    "plee-the-bear-data": "CC-BY-SA-3.0; Synthaurion and others",
    "brainparty-data": "CC-BY-SA-3.0; Blu and others",
    "colobot-common-sounds": "GPL-3+; Roux, Emxx52",
    "pinball-data": "GPL-2+; Enqvist",
    "powermanga-data": "GPL-3+; TLK Games",
    "angrydd": "GPL-2; Becker",
    "mazeofgalious-data": "GPL-2+; Ontanon",
    "tuxtype-data": "GPL-3; Plant and others",
    "scorched3d-data": "GPL-2+; Camp",
    "phlipple-data": "GPL-3+; Seijo",
    "starfighter-data": "GPL-2+; tgfcoder, Deceased Superior Technician, JunglistMilitia",
    "wizznic-data": "GPL-3; Hawk",
    "megaglest-data": "CC-BY-SA-3.0; Glest Team",
    "trackballs-data": "GPL-2+, Ethymonics; Radel, Göbel, Boros, Leach",
    "flare-game": "CC-BY-SA-3.0+; Bellanger and others",
    "funnyboat": "Expat; with the game",
    "solarwolf": "LGPL; with the game",
    "asc-music": "GPL-2+; Kievernagel",
    "ardentryst": "CC-BY-SA-3.0; Trudgett",
    "zaz-data": "CC-BY-SA-3.0; Ritter",
    "btanks-data": "GPL-2 with an exception for its owner; Netive",
    "miceamaze": "CC-BY-3.0; Deceased Superior Technician, Ellinas",
    "enigma-data": "GPL-2; Tasner",
    "xmoto-data": "GPL-2+; Erler, Cubulo",
    "hex-a-hop-data": "CC-BY-SA-3.0; remaxim",
    "neverball-common": "GPL-2+; with the game",
    "amoebax-data": "Free Art License 1.2; Almarza",
    "hyperrogue-music": "CC-BY-SA-3.0; Parrotte, Domina, Savino",
    "freecol": "CC-BY-4.0, GPL; Zhelanov, Grenborgen, Bukvic",
    "wordwarvi-sound": "CC-BY-SA-3.0; Cameron, Kiel, Kavanaugh",
    "extremetuxracer-data": "GPL-2+; Toscano, Picon, O'Connell, Schroeder",
    "lincity-ng-data": "GPL-2+; Pronobozo, van Herk",
    "adonthell-data": "GPL-2+; Zhaytee",
}

logger = logging.getLogger(__name__)


def gather(folder: Path) -> int:
    """Fill `folder` with the recordings of all packages; return how many there are."""
    folder.mkdir(parents=True, exist_ok=True)
    for package in PACKAGES:
        with tempfile.TemporaryDirectory() as place:
            try:
                _unpack(package, Path(place))
            except subprocess.CalledProcessError:
                logger.warning("%s cannot be downloaded; left out", package)
                continue
            for path in sorted(p for p in Path(place).rglob("*") if p.is_file()):
                if _is_music(path):
                    shutil.copyfile(path, folder / f"{package}_{path.stem}{path.suffix or '.ogg'}")
    return len(list(folder.iterdir()))


def _unpack(package: str, place: Path) -> None:
    subprocess.run(["apt-get", "download", "-q", package], cwd=place, check=True)
    archive = next(place.glob("*.deb"))
    subprocess.run(["dpkg-deb", "-x", str(archive), str(place / "files")], check=True)
    archive.unlink()


def recordings_in(folder: Path) -> list[Path]:
    """List what was gathered in a folder, in order of the paths."""
    return sorted(path for path in folder.rglob("*") if path.suffix.lower() in SUFFIXES)


def _is_music(path: Path) -> bool:
    """Whether a file is a recording long enough to be music."""
    import soundfile

    if path.suffix.lower() not in (*SUFFIXES, "") or any(name in path.name for name in LEFT_OUT):
        return False
    try:
        return soundfile.info(path).duration >= LEAST_S
    except soundfile.SoundFileError:
        return False


def main() -> int:
    """Gather everything into one folder."""
    parser = argparse.ArgumentParser(prog="python -m phrasefit.training.source_recordings")
    parser.add_argument("folder", type=Path)
    logging.basicConfig(level=logging.INFO, format="%(message)s", stream=sys.stdout)
    print(f"{gather(parser.parse_args().folder)} recordings")
    return 0


if __name__ == "__main__":
    sys.exit(main())
