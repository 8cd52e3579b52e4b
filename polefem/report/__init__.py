"""From maps, outlines, fields and studies to pictures and files: numbers first, then what shows them."""

from polefem.report.analysis import (
    draw_doubt,
    draw_pareto,
    draw_search,
    draw_shares,
    pareto_points,
    search_path,
)
from polefem.report.files import write_results
from polefem.report.machines import draw_machine
from polefem.report.pictures import draw_design, draw_study, file_name
from polefem.report.poles import draw_pole
from polefem.report.steels import draw_steel
from polefem.report.style import save

__all__ = [
    "draw_design",
    "draw_doubt",
    "draw_machine",
    "draw_pareto",
    "draw_pole",
    "draw_search",
    "draw_shares",
    "draw_steel",
    "draw_study",
    "file_name",
    "pareto_points",
    "save",
    "search_path",
    "write_results",
]
