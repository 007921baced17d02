"""Whether a file lies on a network drive, where that can be told: SQLite cannot keep two computers apart there."""

import contextlib
import os
import re
import sys
from pathlib import Path, PureWindowsPath

OVER_A_NETWORK = re.compile(
    r"nfs\d?|cifs|smb\d?|smbfs|afpfs|afs|ncpfs|davfs|webdav|ceph|glusterfs|lustre|gfs2|ocfs2|fuse\.(sshfs|davfs\d?|rclone|glusterfs|ceph\S*|smb\S*|gvfsd-fuse)",
)
"""File systems that another computer keeps. From memory of what kernels call them."""


def network_drive(path: Path) -> str | None:
    """What kind of network drive ``path`` lies on ("nfs4", "a network share"); None where it is none or cannot be told.

    Told on Windows (a UNC path, a letter that stands for a share), on Linux (the kernel's list of mounts) and on macOS (what
    ``mount`` says of /Volumes). Never raises.
    """
    with contextlib.suppress(OSError, ValueError):
        if os.name == "nt":
            return _on_windows(os.path.realpath(path))
        mounts = Path("/proc/self/mountinfo")
        if mounts.exists():
            return kind_of(os.path.realpath(path), on_linux(mounts.read_text(encoding="utf-8", errors="replace")))
        if sys.platform == "darwin" and os.path.realpath(path).startswith("/Volumes/"):
            return kind_of(os.path.realpath(path), on_macos(_said_by_mount()))
    return None


def is_share(path: str) -> bool:
    r"""True for a Windows path of the form \\server\share\…, or with \\?\UNC\ before it; false for \\?\C:\ and \\.\."""
    drive = PureWindowsPath(path).drive.upper()
    return drive.startswith("\\\\") and (drive[:4] not in ("\\\\?\\", "\\\\.\\") or drive.startswith("\\\\?\\UNC\\"))


def kind_of(path: str, mounts: list[tuple[str, str]]) -> str | None:
    """The kind of file system that holds ``path``, where it is one over a network; ``mounts``: (folder, kind), as mounted."""
    held = [(len(folder.rstrip("/")), n, kind) for n, (folder, kind) in enumerate(mounts) if _inside(path, folder)]
    kind = max(held)[2] if held else ""
    return kind if OVER_A_NETWORK.fullmatch(kind) else None


def _inside(path: str, folder: str) -> bool:
    return (path + "/").startswith(folder.rstrip("/") + "/")


def on_linux(text: str) -> list[tuple[str, str]]:
    """(folder, kind) of every line of /proc/self/mountinfo (proc(5)): the fifth field, and the first behind a lone dash."""
    found = []
    for line in text.splitlines():
        before, dash, behind = line.partition(" - ")
        if dash and len(before.split(" ")) > 4 and behind:
            folder = re.sub(r"\\([0-7]{3})", lambda m: chr(int(m[1], 8)), before.split(" ")[4])
            found.append((folder, behind.split(" ")[0]))
    return found


def on_macos(text: str) -> list[tuple[str, str]]:
    """(folder, kind) of every line of what mount(8) prints there: ``//user@server/share on /Volumes/share (smbfs, …)``."""
    return re.findall(r"^.*? on (/.*) \((\w+)[,)]", text, re.MULTILINE)


def _said_by_mount() -> str:
    import subprocess

    return subprocess.run(["/sbin/mount"], capture_output=True, text=True, timeout=5, check=False).stdout


def _on_windows(path: str) -> str | None:
    if is_share(path):
        return "a network share"
    if sys.platform == "win32":
        import ctypes

        remote = 4  # DRIVE_REMOTE of GetDriveTypeW
        if ctypes.windll.kernel32.GetDriveTypeW(Path(path).anchor) == remote:
            return "a network drive"
    return None
