"""Runs `hydro` as a black box. The binary is named by the environment variable HYDRO."""

import json
import os
import subprocess
import tempfile
from pathlib import Path

import yaml

ROOT = Path(__file__).resolve().parents[2]


class Failed(Exception):
    """hydro did not answer with a result."""


def binary():
    return os.environ.get("HYDRO") or str(ROOT / "target" / "release" / "hydro")


def call(command, network, *options, timeout=600):
    """The JSON document of `hydro COMMAND FILE --json OPTIONS`; `network` is a path or the data of a file."""
    if isinstance(network, dict):
        with tempfile.NamedTemporaryFile("w", suffix=".yaml", delete=False, encoding="utf-8") as file:
            yaml.safe_dump(network, file, sort_keys=False, allow_unicode=True)
        path, made = file.name, True
    else:
        path, made = str(network), False
    try:
        done = subprocess.run([binary(), command, path, "--json", *options], capture_output=True, text=True, timeout=timeout)
    except (OSError, subprocess.TimeoutExpired) as error:
        raise Failed(str(error)) from error
    finally:
        if made:
            os.unlink(path)
    if done.returncode not in (0, 1):
        raise Failed(f"exit status {done.returncode}: {done.stderr.strip()[:600]}")
    try:
        return json.loads(done.stdout)
    except json.JSONDecodeError as error:
        raise Failed(f"no JSON on standard output: {error}") from error
