"""Numbers as files that other programs open: parts for a cutter, fields for a viewer, maps for anything.

`polefem.export.dxf` stands apart, and `write_dxf` is fetched from it when it is asked for: it alone needs a library of
the group `cut`. `write_cut` leaves it out where that is not installed. What writes fields is fetched so too.
"""

from pathlib import Path
from typing import TYPE_CHECKING

from polefem.export.coupled_maps import write_coupled_csv, write_coupled_json, write_coupled_netcdf
from polefem.export.folder import Pages, write_pages, write_tables
from polefem.export.maps import write_csv, write_json, write_netcdf
from polefem.export.shapes import write_shape
from polefem.export.svg import svg_text, write_svg
from polefem.later import Later, front, installed
from polefem.params import Machine
from polefem.report import KeptFiles, code_of, drawing_key

if TYPE_CHECKING:
    from polefem.export.fields import Magnetics, magnetics, write_field, write_series

__all__ = [
    "Magnetics",
    "Pages",
    "magnetics",
    "svg_text",
    "write_coupled_csv",
    "write_coupled_json",
    "write_coupled_netcdf",
    "write_csv",
    "write_cut",
    "write_field",
    "write_json",
    "write_netcdf",
    "write_pages",
    "write_series",
    "write_shape",
    "write_svg",
    "write_tables",
]


__getattr__, __dir__ = front(
    __name__,
    __all__,
    {
        ".dxf": "write_dxf",
        ".fields": "Magnetics magnetics write_field write_series",
    },
)


def write_cut(machine: Machine, folder: Path) -> dict[str, str]:
    """Write a machine's parts as `first.dxf` into a folder, where it is not there as it would be written now; the name
    of the file by what it holds, none where ezdxf is not installed.

    Raises GeometryRefused for a machine that cannot be built.
    """
    if not installed("ezdxf"):
        return {}
    path, kept = folder / "first.dxf", KeptFiles(folder)

    def write() -> None:
        Later("polefem.export.dxf", "write_dxf")(machine, path)

    kept.write((path,), drawing_key(machine, code_of(Path(__file__).parent)), write)
    kept.close()
    return {"first machine, parts to cut (DXF)": path.name}
