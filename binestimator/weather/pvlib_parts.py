"""Single modules of pvlib, loaded without the rest of it.

Importing any module of pvlib the usual way first runs the files of its packages. These load every model of
photovoltaics with scipy's optimisation, interpolation and integration, and a network library: more time and memory
than all else that an estimate imports. Its readers of weather files and its solar position need none of that.
"""

from __future__ import annotations

import functools
import importlib
import importlib.util
import sys
import threading
from pathlib import Path
from types import ModuleType

_LOCK = threading.Lock()


@functools.cache
def pvlib_part(name: str) -> ModuleType:
    """A module of pvlib by its name within pvlib, such as ``iotools.tmy``.

    Notes
    -----
    While it loads, packages that only know their folders take the place of pvlib's own, so that imports of the module
    find what they name and nothing more. They are gone afterwards, and ``import pvlib`` gives pvlib. Where pvlib is
    loaded already, or a module needs more than its neighbours, it is imported as usual.

    Raises
    ------
    ImportError
        pvlib is not installed, or has no such module.
    """
    full = f"pvlib.{name}"
    with _LOCK:
        if "pvlib" not in sys.modules:
            try:
                return _alone(full)
            except (ImportError, AttributeError):
                pass  # the usual way works, or says what is missing
        return importlib.import_module(full)


def _alone(full: str) -> ModuleType:
    """The module, with packages that only know their folders above it."""
    spec = importlib.util.find_spec("pvlib")
    if spec is None or not spec.submodule_search_locations:
        raise ImportError("pvlib is not installed")
    root, *names = full.split(".")[:-1]
    folder = Path(next(iter(spec.submodule_search_locations)))
    try:
        for depth in range(len(names) + 1):
            package = ModuleType(".".join((root, *names[:depth])))
            package.__path__ = [str(folder.joinpath(*names[:depth]))]
            sys.modules[package.__name__] = package
        return importlib.import_module(full)
    finally:
        for loaded in [key for key in sys.modules if key == root or key.startswith(f"{root}.")]:
            del sys.modules[loaded]
