"""Refuse tracked files that name a place on somebody's machine or a package registry.

Run from the root of the checkout: ``python .ci/check_leaks.py``. Registries are
not listed here but taken from the configuration of the machine's own clients, so
that this file names none either. The patterns are written so that none matches
its own line.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path
from urllib.parse import urlsplit

MACHINE_PATHS = re.compile(
    r"""(?<![\w.~-])/(?:work|root|opt|srv|mnt)/[\w.]    # roots of build machines
      | (?<![\w.~-])/(?:home|Users)/(?!USER\b)\w         # homes of people
      | [A-Za-z]:\\+Users\\+\w
      | /tmp/(?:ipy|pip-|tmp)\w*
      | file:///\w""",
    re.VERBOSE,
)
INDEX_SETTINGS = re.compile(r"(?:--|\b)(?:extra-)?index[-_]url[ =]+\S|\bregistry\s*=\s*\S+:/")


def registry_hosts() -> set[str]:
    """Return the hosts that this machine's package clients are set up to ask."""
    settings = [
        [sys.executable, "-m", "pip", "config", "list"],
        ["npm", "config", "get", "registry"],
    ]
    text = ""
    for command in settings:
        if shutil.which(command[0]) or Path(command[0]).exists():
            text += subprocess.run(
                command, capture_output=True, text=True, check=False, timeout=60
            ).stdout
    for sources in sorted(Path("/etc/apt").rglob("*")):
        if sources.suffix in {".list", ".sources"} and sources.is_file():
            text += sources.read_text(encoding="utf-8", errors="replace")
    # What pip asks when nothing is configured.
    try:
        from pip._internal.models.index import PyPI

        text += f" {PyPI.simple_url} {PyPI.file_storage_domain} "
        text += f" https://{PyPI.file_storage_domain}/"
    except ImportError:
        pass
    hosts = {urlsplit(url).hostname or "" for url in re.findall(r"https?://[^\s'\"\],]+", text)}
    return {host for host in hosts if "." in host and not host.startswith("127.")}


def tracked_files() -> list[Path]:
    """Return the files that git tracks or would track."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        capture_output=True,
        check=True,
    ).stdout
    return [Path(name) for name in listed.decode().split("\0") if name and Path(name).is_file()]


def main() -> int:
    """Print every finding; return 1 if there is one."""
    hosts = registry_hosts()
    host_pattern = re.compile("|".join(re.escape(host) for host in sorted(hosts)) or r"(?!)")
    findings = 0
    files = tracked_files()
    for file in files:
        text = file.read_bytes().decode("utf-8", errors="replace")
        for number, line in enumerate(text.splitlines(), 1):
            for pattern in (MACHINE_PATHS, INDEX_SETTINGS, host_pattern):
                match = pattern.search(line)
                if match:
                    findings += 1
                    excerpt = line[max(0, match.start() - 30) : match.end() + 30].strip()
                    print(f"{file}:{number}: {excerpt}")
    print(f"{len(files)} files searched for machine paths and registries: {findings} found.")
    return 1 if findings else 0


if __name__ == "__main__":
    sys.exit(main())
