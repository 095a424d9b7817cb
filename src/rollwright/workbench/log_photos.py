"""Use cases of the photos in the bench log: put in, and written out again."""

from __future__ import annotations

import hashlib
import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from rollwright.bench import Photo
from rollwright.bench.place import publish, shown_name, temporary_beside
from rollwright.bench.store import LARGEST_PHOTO
from rollwright.errors import FileUnreadable, FileUnwritable
from rollwright.workbench.log_enter import Entered, Stamp, enter, known_car, open_log
from rollwright.workbench.log_past import withdrawals

__all__ = ["PhotosWritten", "photo", "photos"]

_BEGINNINGS = {
    b"\xff\xd8\xff": "image/jpeg",
    b"\x89PNG\r\n\x1a\n": "image/png",
    b"GIF87a": "image/gif",
    b"GIF89a": "image/gif",
}
_HEIC = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs"})
_ENDINGS = {
    "image/jpeg": "jpg",
    "image/png": "png",
    "image/gif": "gif",
    "image/webp": "webp",
    "image/heic": "heic",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotosWritten:
    """Photos that came out: the `car`, the `folder`, the names `written` and those `kept` as they were."""

    car: str
    folder: str
    written: tuple[str, ...]
    kept: tuple[str, ...]

    def as_json(self) -> dict[str, object]:
        """Return it as plain data."""
        return {
            "car": self.car,
            "folder": self.folder,
            "written": list(self.written),
            "kept": list(self.kept),
        }


def media_type_of(data: bytes) -> str:
    """Return what kind of picture bytes are, by how they begin; empty for none that is known here.

    The marks are those of ITU-T T.81 (JPEG), W3C PNG, the GIF89a specification, RFC 9649 (WebP) and
    ISO/IEC 23008-12 (HEIC).
    """
    for beginning, media_type in _BEGINNINGS.items():
        if data.startswith(beginning):
            return media_type
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    if data[4:8] == b"ftyp":
        end = int.from_bytes(data[:4], "big")
        # The first brand, and behind its version all those that the file keeps to.
        brands = {data[8:12], *(data[at : at + 4] for at in range(16, min(end, 256), 4))}
        if brands & _HEIC:
            return "image/heic"
    return ""


def photo(
    log: str | os.PathLike[str],
    car: str,
    file: str | os.PathLike[str],
    *,
    caption: str = "",
    stamp: Stamp,
) -> Entered:
    """Put a photo into a log.

    Args:
        log: path of the log.
        car: the car's id; one that is retired takes photos too.
        file: the photo, as JPEG, PNG, GIF, WebP or HEIC.
        caption: what it shows.
        stamp: who and when.

    Returns:
        The entry.

    Raises:
        InputError: the file is missing, too large or no photo, or the log cannot be written; nothing was
            entered.
    """
    name = shown_name(file)
    data = _bytes_of(file, name=name)
    media_type = media_type_of(data)
    if not media_type:
        raise FileUnreadable(
            "this is no JPEG, PNG, GIF, WebP or HEIC photo", mend="save it as JPEG first", file=name
        )
    event = Photo(sha256=hashlib.sha256(data).hexdigest(), media_type=media_type, caption=caption)
    return enter(log, car, event, stamp=stamp, retired=True, photo=data)


def _bytes_of(file: str | os.PathLike[str], *, name: str) -> bytes:
    try:
        if Path(file).is_dir():
            raise FileUnreadable("this is a folder", mend="name the photo in it", file=name)
        with Path(file).open("rb") as stream:
            data = stream.read(LARGEST_PHOTO + 1)
    except FileNotFoundError:
        raise FileUnreadable("there is no such file", mend="check the name", file=name) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "it cannot be opened"
        raise FileUnreadable(
            str(reason).lower(), mend="check the name and its permissions", file=name
        ) from None
    if not data:
        raise FileUnreadable("the file is empty", mend="take the photo again", file=name)
    if len(data) > LARGEST_PHOTO:
        most = LARGEST_PHOTO // 1_000_000
        raise FileUnreadable(f"the photo has more than {most} MB", mend="make it smaller first", file=name)
    return data


def photos(log: str | os.PathLike[str], car: str, folder: str | os.PathLike[str]) -> PhotosWritten:
    """Write the photos of a car out of a log.

    Args:
        log: path of the log.
        car: the car's id.
        folder: where; it is made if it is not there.

    Returns:
        What was written; a photo that is there already, byte for byte, stays as it is. Photos that were
        withdrawn are left out.

    Raises:
        InputError: a file of that name with something else in it is there, a file cannot be written, or the
            log cannot be read. In the first case nothing was written.
    """
    place = Path(folder)
    with open_log(log) as store:
        name = known_car(store, car)
        entries = list(store.events(name))
        gone = withdrawals(entries)
        pictures = {
            f"{name}-{entry.seq}.{_ENDINGS.get(entry.event.media_type, 'bin')}": entry.event.sha256
            for entry in entries
            if isinstance(entry.event, Photo) and entry.seq not in gone
        }
        kept = [each for each, digest in pictures.items() if _is_there(place / each, digest)]
        written = [each for each in pictures if each not in kept]
        if written:
            _made(place)
        for each in written:
            _write(place / each, store.photo(pictures[each]))
    return PhotosWritten(car=name, folder=str(folder), written=tuple(written), kept=tuple(kept))


def _is_there(target: Path, sha256: str) -> bool:
    """Return whether a photo is there already; raise `FileUnwritable` where something else is."""
    try:
        if not os.path.lexists(target):
            return False
        if hashlib.sha256(target.read_bytes()).hexdigest() == sha256:
            return True
    except (OSError, ValueError):
        pass
    raise FileUnwritable(
        "this file is there already and stays as it is",
        mend="choose another folder, or move it away first",
        file=shown_name(target),
    )


def _made(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the folder cannot be made"
        raise FileUnwritable(
            str(reason).lower(), mend="name another folder", file=shown_name(folder)
        ) from None


def _write(target: Path, data: bytes) -> None:
    temporary = temporary_beside(target)
    try:
        temporary.write_bytes(data)
        publish(temporary, target)
    except FileExistsError:
        raise FileUnwritable(
            "another program made a file of this name meanwhile", mend="try again", file=shown_name(target)
        ) from None
    except OSError as error:
        raise FileUnwritable(
            (error.strerror or "it cannot be written").lower(),
            mend="check that the folder has room and may be written",
            file=shown_name(target),
        ) from None
    finally:
        with suppress(OSError):
            temporary.unlink()
