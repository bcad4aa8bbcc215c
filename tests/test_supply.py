"""What is installed: each package has a reason and a pinned version, and no file names a registry."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name


def pinned(root: Path) -> dict[str, str]:
    lines = (root / "constraints.txt").read_text(encoding="utf-8").splitlines()
    return {canonicalize_name(name): version for name, version in (line.split("==") for line in lines if not line.startswith("#"))}


def declared(root: Path) -> tuple[list[Requirement], list[Requirement]]:
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = [one for group in project["optional-dependencies"].values() for one in group]
    return [Requirement(one) for one in project["dependencies"]], [Requirement(one) for one in extras]


def test_every_declared_package_is_pinned_to_a_version_that_is_allowed(root: Path) -> None:
    versions = pinned(root)
    for one in [group for groups in declared(root) for group in groups]:
        assert one.specifier.contains(versions[canonicalize_name(one.name)]), one


def test_the_test_command_takes_the_pinned_versions(root: Path) -> None:
    assert "pip install -c constraints.txt -e" in (root / "README.md").read_text(encoding="utf-8")
    assert not re.search(r"https?:|--index|find-links|@", (root / "constraints.txt").read_text(encoding="utf-8"))


def test_every_package_has_its_reason(root: Path) -> None:
    text = (root / "docs" / "decisions.md").read_text(encoding="utf-8")
    table = text.split("## Each package has a reason")[1].split("\n## ")[0]
    reasons = {canonicalize_name(name) for line in re.findall(r"^\| ([\w, -]+) \|", table, re.M) for name in line.split(", ")}
    named = {canonicalize_name(one.name) for group in declared(root) for one in group}
    assert reasons - {"package"} == named
