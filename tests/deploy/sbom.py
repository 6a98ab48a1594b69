"""Holds a bill of materials to the standard and to what cargo links.

The standard is CycloneDX's own JSON schema with the validator of cyclonedx-python-lib. What is linked is what `cargo tree`
tells over Cargo.lock; each crate must be there with its version and, when it comes from a registry, with the checksum of
Cargo.lock. Both checks must also refuse what is wrong: a document with a kind of component that does not exist, one that
lacks a crate, one with another checksum.

    sbom.py FILE
"""

import copy
import json
import subprocess
import sys
import tomllib

from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator

LINKED = "cargo tree --locked --edges normal --package slowpoint-server --prefix none --format {p}"


def linked():
    """(name, version) of every crate in the binary, its own included, and of the macros that wrote parts of it."""
    lines = subprocess.run(LINKED.split(), check=True, capture_output=True, text=True).stdout.splitlines()
    return {(line.split()[0], line.split()[1].removeprefix("v")) for line in lines}


def checksums():
    with open("Cargo.lock", "rb") as lock:
        return {(p["name"], p["version"]): p.get("checksum") for p in tomllib.load(lock)["package"]}


def off_standard(document):
    error = JsonStrictValidator(SchemaVersion.V1_5).validate_str(json.dumps(document))
    return [] if error is None else [str(error).splitlines()[0]]


def off_the_binary(document, crates, sums):
    """What the document lacks or has wrong."""
    listed = {(c["name"], c["version"]): c for c in document["components"]}
    whole = document["metadata"]["component"]
    faults = [f"{name} {version} is linked and not listed" for name, version in sorted(crates - set(listed))]
    faults += [f"{name} {version} is listed and not in Cargo.lock" for name, version in sorted(set(listed) - set(sums))]
    if (whole["name"], whole["version"]) != ("slowpoint", sums_version(sums)):
        faults.append(f"it describes {whole['name']} {whole['version']}")
    for crate, component in listed.items():
        found = {h["content"] for h in component.get("hashes", []) if h["alg"] == "SHA-256"}
        if sums.get(crate) and found != {sums[crate]}:
            faults.append(f"{crate[0]} {crate[1]} has the checksum {found}")
        if not component.get("licenses"):
            faults.append(f"{crate[0]} {crate[1]} has no licence")
    return faults


def sums_version(sums):
    return next(version for name, version in sums if name == "slowpoint-server")


def main(path):
    with open(path, encoding="utf-8") as file:
        document = json.load(file)
    sums = checksums()
    # The whole is described by its own entry, not among its parts.
    crates = linked() - {("slowpoint-server", sums_version(sums))}
    faults = off_standard(document) + off_the_binary(document, crates, sums)
    if faults:
        sys.exit("\n".join(faults))

    wrong_kind, lacking, altered = (copy.deepcopy(document) for _ in range(3))
    wrong_kind["components"][0]["type"] = "librarian"
    lacking["components"] = [c for c in lacking["components"] if c["name"] != "axum"]
    next(c for c in altered["components"] if c["name"] == "axum")["hashes"][0]["content"] = "0" * 64
    for refused, name in (
        (off_standard(wrong_kind), "a wrong kind of component"),
        (off_the_binary(lacking, crates, sums), "a crate left out"),
        (off_the_binary(altered, crates, sums), "another checksum"),
    ):
        if not refused:
            sys.exit(f"{name} was not noticed")
    print(f"{len(document['components'])} components, {len(crates)} of them what cargo links;"
          " a wrong kind, a crate left out and another checksum are noticed")


if __name__ == "__main__":
    main(sys.argv[1])
