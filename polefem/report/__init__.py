"""From maps, outlines, fields and studies to pictures, pages and files: numbers first, then what shows them.

What a picture shows is had as numbers from a function of its own:

| picture | numbers |
|---|---|
| `draw_curves` | `torque_against_angle`, `inductance_against_angle`, `flux_linkage_against_current` |
| `draw_curves` | `torque_of_designs`, `torque_of_phases` |
| `draw_spectrum` | `spectrum_of_torque` |
| `draw_section` | `section_paths` |
| `draw_flux_density` | `flux_density` |
| `draw_machine` | `round_dimensions`, `disc_dimensions`, `strip_dimensions` |
| `draw_pole` | `pole_dimensions` |
| `draw_run`, `draw_powers` | `current_of_run`, `voltage_of_run`, `torque_of_run`, `powers_of_run` |
| `draw_traces` | `shared_torque_traces`, `start_traces`, `reading_traces` |
| `draw_outlines` | `outlines_at_gap` |
| `draw_bars` | `figure_bars` |
| `draw_power` | `power_over_speed` |
| `draw_steel` | `polefem.materials.curve_data` |
| `draw_pareto` | `pareto_points` |
| `draw_uncertainty` | `polefem.ranking.uncertainty_of` |
| `draw_sobol_indices` | `polefem.study.global_sensitivity` |
| `draw_search` | `search_path` |
| `draw_descent` | `descent_of` |
| `draw_first_and_last` | `gap_along_face` |
| `draw_frame` | `film_of` |
| `winding_sheet`, `joining_sheet` | `polefem.copper.winding_order`, `polefem.copper.joining_plan` |
| `draw_overlay` | `polefem.measured.overlays` |

Films, and pages of a machine on the bench, are loaded when they are asked for: they ask for fields.
"""

from typing import TYPE_CHECKING

from polefem.later import front
from polefem.report.analysis import (
    SearchPath,
    draw_pareto,
    draw_search,
    draw_sobol_indices,
    draw_uncertainty,
    pareto_points,
    search_path,
)
from polefem.report.at_the_shaft import draw_traces, reading_traces, shared_torque_traces, start_traces
from polefem.report.curves import (
    draw_curves,
    draw_spectrum,
    flux_linkage_against_current,
    inductance_against_angle,
    spectrum_of_torque,
    torque_against_angle,
    torque_of_designs,
    torque_of_phases,
)
from polefem.report.descent import Descent, descent_of, draw_descent, draw_first_and_last, gap_along_face
from polefem.report.drawing_key import code_of, drawing_key
from polefem.report.files import write_results
from polefem.report.findings import MOST, Findings, Shape, findings_of, further_texts, shapes_of, texts
from polefem.report.kept_files import KeptFiles
from polefem.report.kept_pictures import KeptPictures
from polefem.report.machines import draw_machine
from polefem.report.measures import disc_dimensions, round_dimensions, strip_dimensions
from polefem.report.page import Page, html_text, markdown_text, page_of
from polefem.report.page.bench_page import BenchPage, Part, bench_html, bench_markdown
from polefem.report.picture import Picture, picture_of
from polefem.report.pictures import (
    Drawing,
    descent_drawings,
    shape_drawings,
    shape_pictures,
    study_drawings,
)
from polefem.report.pole_measures import pole_dimensions
from polefem.report.poles import draw_pole
from polefem.report.power import draw_power, power_over_speed
from polefem.report.runs import (
    current_of_run,
    draw_powers,
    draw_run,
    powers_of_run,
    torque_of_run,
    voltage_of_run,
)
from polefem.report.sections import draw_flux_density, draw_section, flux_density, section_paths
from polefem.report.sheets import (
    Sheet,
    cutting_sheets,
    joining_sheet,
    sheets_of,
    winding_sheet,
    write_pdf,
    write_sheets,
)
from polefem.report.side_by_side import draw_bars, draw_outlines, figure_bars, outlines_at_gap
from polefem.report.steels import draw_steel
from polefem.report.style import save
from polefem.report.workshop_pictures import speed_drawings, winder_drawings, winner_drawings

if TYPE_CHECKING:
    from polefem.report.animation import draw_frame, film_currents, film_of, film_writer, write_film
    from polefem.report.bench_pages import correction_page, overlay_pictures, plan_page
    from polefem.report.overlays import draw_overlay

__all__ = [
    "MOST",
    "BenchPage",
    "Descent",
    "Drawing",
    "Findings",
    "KeptFiles",
    "KeptPictures",
    "Page",
    "Part",
    "Picture",
    "SearchPath",
    "Shape",
    "Sheet",
    "bench_html",
    "bench_markdown",
    "code_of",
    "correction_page",
    "current_of_run",
    "cutting_sheets",
    "descent_drawings",
    "descent_of",
    "disc_dimensions",
    "draw_bars",
    "draw_curves",
    "draw_descent",
    "draw_first_and_last",
    "draw_flux_density",
    "draw_frame",
    "draw_machine",
    "draw_outlines",
    "draw_overlay",
    "draw_pareto",
    "draw_pole",
    "draw_power",
    "draw_powers",
    "draw_run",
    "draw_search",
    "draw_section",
    "draw_sobol_indices",
    "draw_spectrum",
    "draw_steel",
    "draw_traces",
    "draw_uncertainty",
    "drawing_key",
    "figure_bars",
    "film_currents",
    "film_of",
    "film_writer",
    "findings_of",
    "flux_density",
    "flux_linkage_against_current",
    "further_texts",
    "gap_along_face",
    "html_text",
    "inductance_against_angle",
    "joining_sheet",
    "markdown_text",
    "outlines_at_gap",
    "overlay_pictures",
    "page_of",
    "pareto_points",
    "picture_of",
    "plan_page",
    "pole_dimensions",
    "power_over_speed",
    "powers_of_run",
    "reading_traces",
    "round_dimensions",
    "save",
    "search_path",
    "section_paths",
    "shape_drawings",
    "shape_pictures",
    "shapes_of",
    "shared_torque_traces",
    "sheets_of",
    "spectrum_of_torque",
    "speed_drawings",
    "start_traces",
    "strip_dimensions",
    "study_drawings",
    "texts",
    "torque_against_angle",
    "torque_of_designs",
    "torque_of_phases",
    "torque_of_run",
    "voltage_of_run",
    "winder_drawings",
    "winding_sheet",
    "winner_drawings",
    "write_film",
    "write_pdf",
    "write_results",
    "write_sheets",
]

__getattr__, __dir__ = front(
    __name__,
    __all__,
    {
        ".animation": "draw_frame film_currents film_of film_writer write_film",
        ".bench_pages": "correction_page overlay_pictures plan_page",
        ".overlays": "draw_overlay",
    },
)
