"""The engine's public face as Python sees it, for the type checker.

`tests/python/test_gateway.py` compares it with the assembly by reflection.
"""

from typing import ClassVar

class Gateway:
    Version: ClassVar[str]
    @staticmethod
    def Start(task: str, call: str, arrays: object, threads: int) -> Job: ...
    @staticmethod
    def Explain(exception: object) -> str: ...
    @staticmethod
    def About() -> str: ...
    @staticmethod
    def Describe() -> str: ...
    @staticmethod
    def Rehearse(area: str) -> None: ...

class Job:
    Fraction: float
    Phrase: str
    Error: str | None
    Result: str | None
    def Wait(self, milliseconds: int) -> bool: ...
    def Cancel(self) -> None: ...
    ArrayBytes: int
    def CopyArrays(self, destination: object) -> None: ...
    def Dispose(self) -> None: ...
