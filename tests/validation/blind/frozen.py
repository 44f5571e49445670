"""The frozen cases and the frozen checklist, and the digests that hold them to what they were."""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path

HERE = Path(__file__).parent
CASES = HERE / "cases.toml"
CHECKLIST = HERE / "checklist.toml"
DIGESTS = HERE / "digest.txt"
FROZEN = (CASES, CHECKLIST)


def digest(data: bytes) -> str:
    """Digest of a file's bytes."""
    return hashlib.sha256(data).hexdigest()


def stated_digests() -> dict[str, str]:
    """Digest of each frozen file by its name, as it was before the first run."""
    lines = (line.split() for line in DIGESTS.read_text().splitlines() if line)
    return {name: found for found, name in lines}


def table(path: Path) -> dict[str, object]:
    """Content of a frozen file."""
    return tomllib.loads(path.read_text(encoding="utf-8"))
