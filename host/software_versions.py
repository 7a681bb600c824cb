"""What a result was worked out with."""

import platform
from importlib.metadata import version

PACKAGES = ("ohmbath", "numpy", "scipy", "GTC", "typst", "matplotlib")


def software_versions() -> tuple[tuple[str, str], ...]:
    """Name and version of Python and of every package that moves a number or the paper."""
    return (("python", platform.python_version()), *((name, version(name)) for name in PACKAGES))
