"""Which model the committed pictures show: a hash of the sources, written beside them when they are rendered."""
import hashlib
import pathlib

HERE = pathlib.Path(__file__).resolve().parent
RECORD = HERE.parent / "pictures" / "made-from.sha256"
SOURCES = ("sensor.scad", "boards.scad", "pictures.py")


def of_sources() -> str:
    digest = hashlib.sha256()
    for source in SOURCES:
        digest.update((HERE / source).read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()


def recorded() -> str:
    return RECORD.read_text(encoding="ascii").strip() if RECORD.exists() else ""


def record():
    RECORD.write_text(of_sources() + "\n", encoding="ascii")
