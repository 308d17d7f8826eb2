"""Builds the C# engine into the package: the wheel carries it, ready to run."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

from setuptools import setup
from setuptools.command.build_py import build_py

HERE = Path(__file__).resolve().parent
PROJECT = HERE.parent / "src" / "StarAssay.Bridge" / "StarAssay.Bridge.csproj"


class BuildWithEngine(build_py):
    """Publish the engine next to the Python modules before they are collected."""

    def run(self) -> None:
        if not PROJECT.is_file():
            sys.exit(
                f"The engine's sources are not at {PROJECT}. Build from a full checkout: "
                "'pip install ./python' from its top folder."
            )
        if shutil.which("dotnet") is None:
            sys.exit(
                "The .NET 10 SDK is needed to build the engine and 'dotnet' is not on PATH. "
                "Install it from https://dotnet.microsoft.com/download and try again."
            )
        target = HERE / "starassay" / "_engine"
        shutil.rmtree(target, ignore_errors=True)
        command = ["dotnet", "publish", str(PROJECT), "-c", "Release", "-o", str(target)]
        subprocess.run([*command, "--nologo", "-v", "quiet"], check=True)
        super().run()


# The wheel holds platform-neutral .NET code, so it stays a pure Python wheel.
setup(cmdclass={"build_py": BuildWithEngine})
