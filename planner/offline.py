"""No file that a plan names leads to the network: settings of GDAL and PROJ, for the command line and for notebooks.

GDAL follows addresses that stand inside files: overviews, masks, virtual rasters, reference systems. Which files it
gets to see is decided in `tables/files/`; these settings stand behind that, should a way be missed. PROJ fetches grids
of datum shifts when PROJ_NETWORK is on; positions would then depend on whether a network was there.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType

# Of GDAL: no name is fetched by curl, no plugin of another GDAL is loaded, no code inside files is run.
GDAL_SETTINGS = {
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "none",
    "GDAL_HTTP_MAX_RETRY": "0",
    "GDAL_VRT_ENABLE_PYTHON": "NO",
    "GDAL_VRT_ENABLE_RAWRASTERBAND": "NO",
    "OGR_SQLITE_ALLOW_EXTERNAL_ACCESS": "NO",
}
_ENVIRONMENT = GDAL_SETTINGS | {
    "PROJ_NETWORK": "OFF",
    "GDAL_DRIVER_PATH": "disable",
    "OGR_DRIVER_PATH": "disable",
    "GDAL_PYTHON_DRIVER_PATH": "",
    "OGR_SQLITE_LOAD_EXTENSIONS": "",
}


def close() -> None:
    """Close the way to the network for the whole process, whatever its environment says; before GDAL is imported."""
    os.environ.update(_ENVIRONMENT)


@contextmanager
def quiet() -> Iterator[None]:
    """Drop what rasterio and pyogrio print where GDAL's remark on a damaged file is no UTF-8: it looks like a crash."""
    unraisable, printed = sys.unraisablehook, sys.excepthook  # compiled code goes to one, then to the other

    def drop_unraisable(found: sys.UnraisableHookArgs) -> None:
        if not isinstance(found.exc_value, UnicodeDecodeError):
            unraisable(found)

    def drop_printed(kind: type[BaseException], value: BaseException, trace: TracebackType | None) -> None:
        if not isinstance(value, UnicodeDecodeError):
            printed(kind, value, trace)

    sys.unraisablehook, sys.excepthook = drop_unraisable, drop_printed
    try:
        yield
    finally:
        sys.unraisablehook, sys.excepthook = unraisable, printed


@contextmanager
def closed() -> Iterator[None]:
    """The same for a while, inside a process that is not ours alone: its own settings are put back."""
    from pyproj.network import is_network_enabled, set_network_enabled  # type: ignore[attr-defined]

    before = {name: os.environ.get(name) for name in _ENVIRONMENT}
    fetching = is_network_enabled()
    close()
    set_network_enabled(False)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
        set_network_enabled(fetching)
