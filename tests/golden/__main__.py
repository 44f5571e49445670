"""Stores golden results anew and says what moved: ``python -m tests.golden [--dry] [CALL ...]``.

Look at what moved before it is committed.
"""

from __future__ import annotations

import argparse

from tests.golden.calls import CALLS, result_of
from tests.golden.compare import moved
from tests.golden.store import STORED, path_of, store, stored

MOST_LINES = 40


def main() -> None:
    """Work out the calls that are named, or all, and tell and keep what they give."""
    parser = argparse.ArgumentParser(prog="python -m tests.golden", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="CALL", help="calls to store anew (all)")
    parser.add_argument("--dry", action="store_true", help="store nothing, only print")
    options = parser.parse_args()
    unknown = [name for name in options.names if name not in CALLS]
    if unknown:
        parser.error(f"no such call: {', '.join(unknown)}")
    values = calls = new = 0
    for name in options.names or CALLS:
        result = result_of(name)
        if path_of(name).exists():
            found = moved(stored(name), result)
            for one in found[:MOST_LINES]:
                print(f"{name}: {one}")
            if len(found) > MOST_LINES:
                print(f"{name}: and {len(found) - MOST_LINES} more")
            values, calls = values + len(found), calls + bool(found)
        else:
            print(f"{name}: new")
            new += 1
        if not options.dry:
            store(name, result)
    if not options.names:
        for path in sorted(STORED.glob("*.json")):
            if path.stem not in CALLS:
                print(f"{path.stem}: no longer a call")
                if not options.dry:
                    path.unlink()
    print(f"{values} values moved in {calls} calls; {new} calls are new")


if __name__ == "__main__":
    main()
