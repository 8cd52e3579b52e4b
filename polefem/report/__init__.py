"""From maps, outlines and fields to pictures: numbers first, then what shows them."""

from polefem.report.pictures import draw_design, draw_study, file_name

__all__ = ["draw_design", "draw_study", "file_name"]
