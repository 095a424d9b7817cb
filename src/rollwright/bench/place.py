"""Where a log lies on the disk: putting a finished file in place, and places that are not safe for one."""

from __future__ import annotations

import os
import re
import secrets
from pathlib import Path

from rollwright.errors import echo

__all__ = ["publish", "shown_name", "synced_folder", "temporary_beside"]

_LONGEST_PATH = 58
# Names that file-copying services give their folders, in lower case, without an owner's name after them.
_SYNCED = re.compile(
    r"dropbox|onedrive|google drive|googledrive|my drive|icloud ?drive|com~apple~clouddocs|mobile documents"
    r"|nextcloud|owncloud|syncthing|sync|pcloud ?drive|mega|megasync|seafile|box|box sync|cloudstorage|gvfs"
)
_MARKERS = (".stfolder", ".dropbox", ".dropbox.cache", ".owncloudsync.log", ".nextcloudsync.log", ".tresorit")
_OWNER = re.compile(r"[-_ (].*")


def synced_folder(path: str | os.PathLike[str]) -> Path | None:
    """Return the folder that looks as if a service or a network copied or shared what lies in it.

    Such a service may copy a log while it is being written, or bring back an older one over it, and a
    network folder may not keep two programs apart. Only names and well-known marker files are looked at,
    so the answer can be wrong either way: it is for a warning.

    Args:
        path: of a log, there already or not.

    Returns:
        The nearest such folder, or None when nothing looks like one.
    """
    text = os.fspath(path)
    try:
        # A path may reach a synced folder through a link, and may itself be named like one.
        real = Path(os.path.realpath(text))
    except (OSError, ValueError):
        return None
    if text.startswith(("\\\\", "//")):
        return Path(text).parent
    for folder in (*Path(text).absolute().parents, *real.parents):
        name = folder.name.casefold()
        if _SYNCED.fullmatch(name) or _SYNCED.fullmatch(_OWNER.sub("", name)):
            return folder
        if any(_exists(folder / marker) for marker in _MARKERS):
            return folder
    return None


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:
        return False


def shown_name(path: str | os.PathLike[str]) -> str:
    """Return a path as it is shown in a one-line message; a long one keeps its end, the file's name."""
    text = os.fspath(path)
    return echo(text if len(text) < _LONGEST_PATH else f"…/{Path(text).name}").strip("'\"")


def temporary_beside(target: Path) -> Path:
    """Return a new name beside a file, for what is to become that file."""
    return target.with_name(f".{target.name}.{secrets.token_hex(8)}.part")


def publish(finished: Path, target: Path) -> None:
    """Give a finished file its name, never in place of another.

    Its bytes are on the disk before the name appears, and the name is on the disk before this returns.

    Args:
        finished: a closed file beside `target`; it is gone afterwards.
        target: the name that it gets.

    Raises:
        FileExistsError: there is something of that name already; both stay as they are.
        OSError: it cannot be done.
    """
    _sync(finished, os.O_RDWR)
    if os.name == "nt":
        # Windows never renames onto a file that is there.
        finished.rename(target)
        return
    try:
        os.link(finished, target)
    except FileExistsError:
        raise
    except OSError:
        # Memory cards often know no links; an empty file then keeps the name for us.
        os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666))
        finished.replace(target)
    else:
        finished.unlink()
    _sync(target.parent, os.O_RDONLY)


def _sync(path: Path, flags: int) -> None:
    handle = os.open(path, flags)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
