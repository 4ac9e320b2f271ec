"""Writes deploy/constraints.txt: the exact versions installed now of everything we depend on.

Run in the environment the tests passed in: python deploy/pin.py
"""

import re
import tomllib
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]


def main() -> None:
    """Walk the requirements of the project and its extras."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    extras = project["optional-dependencies"].values()
    open_ends = [*project["dependencies"], *(line for extra in extras for line in extra)]
    found: dict[str, str] = {}
    while open_ends:
        wanted = Requirement(open_ends.pop())
        name = re.sub(r"[-_.]+", "-", wanted.name).lower()
        asked = [{"extra": e} for e in ("", *wanted.extras)]
        if name in found or (wanted.marker and not any(map(wanted.marker.evaluate, asked))):
            continue
        package = metadata.distribution(wanted.name)
        found[name] = package.version
        for line in package.requires or []:
            inner = Requirement(line)
            if inner.marker is None or any(map(inner.marker.evaluate, asked)):
                open_ends.append(line)
    lines = [
        f"{name}=={version}" for name, version in sorted(found.items()) if name != "setuptools"
    ]
    (ROOT / "deploy" / "constraints.txt").write_text("\n".join(lines) + "\n")


main()
